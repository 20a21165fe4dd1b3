//! The starting points themselves: music for a night ferry crossing, all of it invented.

use super::{NEW, StartingPoint};
use crate::mode::ModeName;
use crate::part::MAX_COPIES;
use crate::route::{Afterwards, Dwell, Way, WrittenStage};
use crate::settings::{Grid, Modulation, Motion, Place};

/// Five strokes on eleven steps such that any two places of a voice share two of them (the squares
/// modulo 11 are a difference set).
const ELEVEN: &str = "E4 - G4 B4 A4 - . . D5 - .";

/// All there are, in the order in which they are offered.
pub const ALL: &[StartingPoint] = &[
    StartingPoint {
        name: "Two Lamps",
        idea: "two hands interlocking",
        words: "A4 E5 . D5 . . G4 . . . C5 . E5 B4 . G4",
        tempo: 104.0,
        set: &[
            ("motion", "Build up"),
            ("shift_by", "8"),
            ("shifts", "1"),
            ("dwell", "4"),
            ("growth_every", "1"),
            ("copy1_octave", "-1"),
        ],
        listen: [
            "For four cycles both hands strike the same eight notes together, an octave apart.",
            "Then the lower hand falls silent and comes back note by note, half a cycle ahead, and \
             never again strikes together with the upper one.",
            "Once it is whole, each of the sixteen steps is struck, by one hand only: follow the \
             stream, and you lose the hands.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Wake",
        idea: "a round by drift",
        words: ELEVEN,
        tempo: 112.0,
        set: &[("dwell", "4"), ("drift", "2")],
        listen: [
            "A copy pulls ahead by a step, locks for four cycles and pulls ahead again; listen for \
             the moment in each drift when an echo becomes a rhythm.",
            "Wherever it locks, exactly two of the five strokes fall together, and each time it is \
             another two.",
            "After eleven drifts, with the 67th cycle, the copy has gained a whole cycle and both \
             are in unison again.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Gangway",
        idea: "the same round by jumps",
        words: ELEVEN,
        tempo: 112.0,
        set: &[("motion", "Jump"), ("dwell", "4")],
        listen: [
            "The phrase of Wake goes round again, but the way from lock to lock is left out: the \
             copy leaps every four cycles.",
            "In every cycle eight steps of the eleven are struck, and only their order changes; in \
             unison it is five.",
            "Unison comes back with the 45th cycle, where the drift takes until the 67th.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Windows Lit",
        idea: "building up",
        words: "D4 A4 . . F4 E4 . C5 G4 . B4 . A4 F4 . D5",
        tempo: 100.0,
        set: &[
            ("motion", "Jump"),
            ("shift_by", "4"),
            ("dwell", "4"),
            ("growth", "Fill"),
        ],
        listen: [
            "Out of sixteen steps one sounds at first, and every two cycles one more of the ten \
             notes takes the place of a rest.",
            "The first four to come are the four beats, so the pulse stands before the tune does.",
            "A second voice waits until all ten are there, enters with the 21st cycle, and then \
             leaps ahead a beat at a time until it is round.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "The Rope Pays Out",
        idea: "growing longer",
        words: "G4 - B4 A4 - - D5 - C5 E5 - A4 F#4 - - B4",
        tempo: 116.0,
        set: &[
            ("motion", "Jump"),
            ("shift_by", "4"),
            ("dwell", "2"),
            ("growth", "Lengthen"),
            ("growth_order", "Forward"),
            ("growth_every", "3"),
        ],
        listen: [
            "First one note alone, every second step; three times round, and another note is added \
             at the end.",
            "So the round grows from 2 steps to 3, 6, 8, 9, 11, 12, 15 and 16, and with each of them \
             the first note comes round at another pace.",
            "At sixteen steps it is four beats long and at rest in its metre; then a second voice \
             comes in.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Gulls Astern",
        idea: "three copies fanned",
        words: "B4 . . E5 . F#5 . . . C#5 . G#4",
        tempo: 96.0,
        set: &[
            ("copies", "3"),
            ("dwell", "2"),
            ("drift", "2"),
            ("copy2_octave", "-1"),
        ],
        listen: [
            "Three copies open like a fan: as the first gains one step, the second gains two and the \
             third gains three.",
            "After three drifts the four voices stand a quarter of the phrase apart, after six they \
             are two pairs, half of it apart.",
            "On the way the third copy comes to unison three times, the second twice and the first \
             once: after twelve drifts, with the 49th cycle, all are there together.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Change of Watch",
        idea: "in turn",
        words: "C5 . G4 . . A4 D5 . E4 .",
        tempo: 108.0,
        set: &[
            ("copies", "2"),
            ("motion", "Jump"),
            ("copies_move", "In turn"),
            ("dwell", "2"),
            ("copy1_octave", "1"),
            ("copy2_octave", "-1"),
        ],
        listen: [
            "Every two cycles one voice moves and the other two stay: first the high one, then the \
             low one, and so on in turn.",
            "When the high one has moved it is a step before the low one, like a grace note; when \
             the low one has followed, both strike together, in octaves.",
            "Twenty moves, ten for each, bring the three back to where they began, in the 41st \
             cycle.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Sky Before Landfall",
        idea: "a dark mode turned bright",
        words: "E4 - B4 . G4 F4 . A4 C5 - . D5 B4 . F4 G4",
        tempo: 92.0,
        set: &[
            ("motion", "Jump"),
            ("shift_by", "5"),
            ("shifts", "3"),
            ("source_tonic", "E"),
            ("source_mode", "Phrygian"),
            ("copy1_octave", "1"),
        ],
        modes: &[Modulation {
            place: Place::Stage(2),
            tonic: 4,
            mode: ModeName::Lydian,
            over: 10,
        }],
        listen: [
            "Eight cycles of E Phrygian, with its dark second a semitone above the tonic.",
            "Then, within ten cycles, five of the seven notes rise by a semitone, one after another: \
             each time a note that you know comes back a little brighter.",
            "E and B never move, and the rhythm does not change either; when the last has turned it \
             is E Lydian.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Three Engines",
        idea: "unequal lengths",
        words: "D4 A4 . F4 . . G4 . C5 -",
        tempo: 120.0,
        set: &[
            ("copies", "2"),
            ("shifts", "0"),
            ("dwell", "64"),
            ("copy1_length", "9"),
            ("copy2_length", "7"),
            ("copy1_octave", "1"),
            ("copy2_octave", "-1"),
        ],
        listen: [
            "The steady voice goes round in ten steps, the high copy in nine and the low one in seven: \
             all begin with the same D, but ever earlier against each other.",
            "Follow the Ds: the high copy's falls together with the steady voice's every nine cycles, \
             the low copy's every seven.",
            "Of 63 cycles no two are alike; with the 64th all three begin together again.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Lights Along the Quay",
        idea: "a spoken sentence",
        words: "Db3 . E3 . . Eb3 Eb3 . D3 . D3 . D3 D3 D3 . D3 . Eb3 . D3 D3 D3 . B2 . . .",
        tempo: 115.0,
        set: &[
            ("motion", "Jump"),
            ("shift_by", "4"),
            ("dwell", "3"),
            ("copy1_octave", "1"),
        ],
        listen: [
            "Keys and rhythm are those heard in a synthetic voice that said: the lights along the quay \
             go out one after another; its recording is not with it.",
            "Say it along with the first cycle: it moves within five semitones, is highest on lights, \
             and falls to its lowest on the last syllable.",
            "Then an echo an octave above leaps ahead a beat at a time, the words get lost in a pattern, \
             and with the 22nd cycle they are one voice again.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Ropes Let Go",
        idea: "a performance on cue",
        words: "F4 C5 . . A4 G4 D5 . C5 . . E5",
        tempo: 104.0,
        set: &[
            ("copies", "2"),
            ("shift_by", "3"),
            ("advance", "On cue"),
            ("dwell", "4"),
            ("drift", "3"),
            ("copy1_octave", "1"),
        ],
        listen: [
            "Nothing changes until you give a cue, and with the next cycle the copies let go: switch \
             Cue on, or give it a key or a pedal.",
            "A drift takes three cycles, and a cue given meanwhile is not taken: listen until both \
             have locked.",
            "The second copy goes twice as far as the first, so it is in unison after two cues, and \
             after four both are.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Fog on the Car Deck",
        idea: "texture for a scene",
        words: "D3 - - A3 - - - E4 - C4 - - - - F4 -",
        grid: Grid::Eighth,
        tempo: 72.0,
        set: &[
            ("copies", "6"),
            ("copy1_octave", "1"),
            ("copy2_degrees", "4"),
            ("copy3_octave", "1"),
            ("copy4_degrees", "2"),
            ("copy5_octave", "2"),
            ("copy6_degrees", "9"),
            ("copy1_level", "80 %"),
            ("copy2_level", "70 %"),
            ("copy3_level", "60 %"),
            ("copy4_level", "60 %"),
            ("copy5_level", "45 %"),
            ("copy6_level", "45 %"),
        ],
        stages: &[
            stage(2, [0.0; MAX_COPIES]),
            stage(10, [4.0, 1.0, 6.0, 2.0, 5.0, 3.0, 0.0, 0.0]),
            stage(2, [0.0; MAX_COPIES]),
        ],
        afterwards: Afterwards::Silence,
        listen: [
            "Seven voices begin as one slow chime, and within eight cycles they come apart, each as \
             far as it will.",
            "For ten cycles 35 notes fall on all sixteen steps, two or three on each: there is no beat \
             to hold on to, and it can lie under a scene.",
            "Within eight more they gather, chime together twice, and after thirty cycles, at 72 \
             three minutes and twenty seconds, there is silence.",
        ],
        ..NEW
    },
    StartingPoint {
        name: "Upside Down in the Water",
        idea: "a mirror",
        words: "D4 F4 . A4 . G4 Bb4 . . C5 . A4 E4 .",
        tempo: 100.0,
        set: &[
            ("dwell", "4"),
            ("drift", "2"),
            ("shift_by", "7"),
            ("source_tonic", "D"),
            ("source_mode", "Aeolian"),
            ("copy1_upside_down", "On"),
        ],
        listen: [
            "The second voice is the first one's reflection: from the same D, whenever one rises the \
             other falls, by as many degrees of the mode.",
            "At first both strike together, and only the D is common to them.",
            "Half the phrase apart only two of the eight strokes still fall together; a second drift, \
             and with the 13th cycle the reflection lies under the voice again.",
        ],
        ..NEW
    },
];

/// A stage of so many cycles that a slow drift leads to, its copies so many steps ahead.
const fn stage(dwell: u32, ahead: [f64; MAX_COPIES]) -> WrittenStage {
    WrittenStage {
        way: Way {
            motion: Motion::Drift,
            over: 8,
        },
        dwell: Dwell::Cycles(dwell),
        ahead,
        grown: None,
        turn: None,
    }
}
