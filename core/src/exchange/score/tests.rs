//! What stands in a score, and what is read from one.

use super::*;
use crate::form::Form;
use crate::mode::Mode;
use crate::mode::{ModeName, PitchSet};
use crate::note::{Key, Note, Velocity};
use crate::part::{MAX_VOICES, Part};
use crate::performance::Performance;
use crate::phrase::Phrase;
use crate::process::{Process, VoiceNote};
use crate::settings::{
    CopiesMove, FoldKind, Grid, Growth, Modulation, Modulations, Motion, Place, Resulting,
    Settings, Shifts,
};
use crate::time::{Beats, Span};
use crate::unrolling::unroll;
use proptest::prelude::*;
use roxmltree::{Document, Node, ParsingOptions};

const SIX: &str = "D4 F4 G4 . A4 C5";

/// A process and what it plays.
struct Played {
    process: Process,
    performance: Performance<'static>,
    form: Form,
    notes: Vec<VoiceNote>,
    modes: Vec<(Beats, Mode)>,
    layout: Layout,
    transpositions: Vec<Transposition>,
}

impl Played {
    fn new(phrase: Phrase, settings: Settings) -> Self {
        let process = Process::new(phrase, settings, 0.0);
        let performance = Performance::proposed(&process).into_owned();
        let form = Form::new(&process);
        let notes = unroll(&process, Span::new(0.0, form.end())).collect();
        Self {
            process,
            performance,
            form,
            notes,
            modes: Vec::new(),
            layout: Layout::default(),
            transpositions: Vec::new(),
        }
    }

    fn score(&self) -> Score<'_> {
        Score {
            piece: crate::exchange::Piece {
                title: "Night ferry",
                performance: &self.performance,
                form: &self.form,
                route: self.process.route(),
                notes: &self.notes,
                modes: &self.modes,
                tempo: 96.0,
                tempi: None,
                beats_per_bar: 4.0,
            },
            layout: self.layout,
            transpositions: &self.transpositions,
        }
    }

    fn xml(&self) -> String {
        self.score().to_musicxml()
    }

    /// The keys of a part in each passage, a step a word.
    fn pattern(&self, voice: usize) -> Vec<String> {
        let step = crate::time::to_ticks(self.process.settings().step());
        let passages = self.score().sheet().passages;
        passages
            .iter()
            .map(|passage| {
                let words = (0..passage.length / step).map(|at| {
                    let note = passage.parts[voice]
                        .iter()
                        .find(|note| note.onset == at * step);
                    note.map_or(".".to_owned(), |note| note.key.number().to_string())
                });
                words.collect::<Vec<_>>().join(" ")
            })
            .collect()
    }
}

fn piece(text: &str, adjust: impl FnOnce(&mut Settings)) -> Played {
    let mut settings = Settings::default();
    adjust(&mut settings);
    let phrase = Phrase::from_text(text, settings.step()).unwrap();
    Played::new(phrase, settings)
}

fn with<T>(xml: &str, look: impl FnOnce(Node) -> T) -> T {
    let options = ParsingOptions {
        allow_dtd: true,
        ..Default::default()
    };
    let document = Document::parse_with_options(xml, options).unwrap();
    look(document.root_element())
}

/// The texts of all elements of that name, in a part.
fn texts(xml: &str, part: usize, name: &str) -> Vec<String> {
    with(xml, |root| {
        let part = root
            .children()
            .filter(|node| node.has_tag_name("part"))
            .nth(part);
        part.unwrap()
            .descendants()
            .filter(|node| node.has_tag_name(name))
            .map(|node| node.text().unwrap_or_default().to_owned())
            .collect()
    })
}

fn count(xml: &str, text: &str) -> usize {
    xml.matches(text).count()
}

/// A phrase in eighths by itself, in bars that are typed so, with so much before a bar line.
fn in_bars(text: &str, metre: &str, begins: Beats) -> Played {
    let mut settings = Settings::default();
    settings.capture.grid = Grid::Eighth;
    settings.motion.copies = 0;
    let metre = crate::metre::Metre::from_text(metre, crate::metre::Metre::COMMON).unwrap();
    let bar = crate::phrase::Bar::around(metre, begins);
    let phrase = Phrase::from_text(text, 0.5).unwrap();
    Played::new(phrase.with_bar(Some(bar)), settings)
}

/// Worked by hand: b(egin), c(ontinue), e(nd).
#[test]
fn beams_show_the_groups_of_the_bar() {
    for (text, metre, beams) in [
        ("D4 E4 F4 G4 A4 B4 C5", "2+2+3/8", "be be bce"),
        ("D4 E4 F4 G4 A4 B4 C5", "3+2+2/8", "bce be be"),
        ("D4 E4 F4 G4 A4 B4", "6/8", "bce bce"),
        ("D4 E4 F4 G4 A4 B4", "3/4", "be be be"),
        ("D4 E4 F4 G4 A4 B4 C5 D5", "3+3+2/8", "bce bce be"),
    ] {
        let xml = in_bars(text, metre, 0.0).xml();
        let written: String = texts(&xml, 0, "beam")
            .iter()
            .map(|beam| &beam[..1])
            .collect();
        assert_eq!(written, beams.replace(' ', ""), "{metre}");
        let above = metre.split('/').next().unwrap();
        assert_eq!(texts(&xml, 0, "beats"), [above]);
    }
}

#[test]
fn a_pick_up_is_written_before_beat_one_and_read_back_so() {
    let played = in_bars("A4 D4 - F4 . A4 G4 C5 . E4 . D4 - F4", "2+2+3/8", 0.5);
    let xml = played.xml();
    // An eighth, a bar, and six eighths up to the repeat.
    assert_eq!(count(&xml, "implicit=\"yes\""), 2);
    assert_eq!(count(&xml, "<measure "), 3);
    let excerpt = Excerpt {
        part: 0,
        bars: Some(1..=3),
    };
    let read = read_phrase_xml(xml.as_bytes(), &excerpt).unwrap().phrase;
    let heard = |phrase: &Phrase| -> Vec<(Beats, Beats, Key)> {
        let notes = phrase.notes().iter();
        notes
            .map(|note| (note.onset, note.length, note.key))
            .collect()
    };
    assert_eq!(heard(&read), heard(played.process.phrase()));
    assert_eq!(
        (read.bar(), read.pick_up()),
        (played.process.phrase().bar(), 0.5)
    );
}

#[test]
fn what_has_no_pitch_is_written_under_a_percussion_clef_and_read_back_on_its_keys() {
    let mut played = in_bars("E5 . E5 F5+C2 . E5 F5 .", "4/4", 0.0);
    played.transpositions = vec![Transposition::Unpitched];
    let xml = played.xml();
    assert_eq!(texts(&xml, 0, "sign"), ["percussion"]);
    assert_eq!((count(&xml, "<pitch>"), count(&xml, "<key>")), (0, 0));
    // C2 in the lowest place, E5 on the middle line.
    let places = texts(&xml, 0, "display-step").concat();
    assert_eq!(places, "BBGDBD");
    let read = read_phrase_xml(xml.as_bytes(), &Excerpt::default()).unwrap();
    let keys = |phrase: &Phrase| -> Vec<(Beats, u8)> {
        let notes = phrase.notes().iter();
        notes.map(|note| (note.onset, note.key.number())).collect()
    };
    assert_eq!(keys(&read.phrase), keys(played.process.phrase()));
    assert_eq!(read.left_out, 0);
    // More than a staff has room for is written at its pitches.
    let mut many = in_bars("C4 D4 E4 F4 G4 A4 B4 C5 D5 E5 F5 G5", "12/8", 0.0);
    many.transpositions = vec![Transposition::Unpitched];
    assert_eq!(texts(&many.xml(), 0, "sign"), ["G"]);
}

mod written {
    use super::*;

    #[test]
    fn each_alignment_is_a_bar_with_the_pattern_rotated() {
        let piece = piece(SIX, |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(2);
        });
        assert_eq!(
            piece.pattern(1),
            ["62 65 67 . 69 72", "65 67 . 69 72 62", "67 . 69 72 62 65"]
        );
        assert!(piece.pattern(0).iter().all(|bar| bar == "62 65 67 . 69 72"));
        let plays: Vec<_> = piece
            .score()
            .sheet()
            .passages
            .iter()
            .map(|p| p.plays)
            .collect();
        assert_eq!(plays, [8, 8, 8]);
    }

    #[test]
    fn the_chosen_number_of_plays_is_in_the_repeat_and_the_customary_range_above_it() {
        let piece = piece(SIX, |settings| {
            settings.motion.dwell = 16;
            settings.motion.shifts = Shifts::Count(1);
        });
        let xml = piece.xml();
        let words = texts(&xml, 0, "words");
        assert_eq!(
            words,
            [
                "D minor pentatonic\nplay 12-24x (16)",
                "hold tempo",
                "play 2-8x (4)",
                "play 12-24x (16)"
            ]
        );
        for times in ["16", "4"] {
            let repeat = format!("<repeat direction=\"backward\" times=\"{times}\"/>");
            assert!(xml.contains(&repeat), "{times}");
        }
        assert_eq!(texts(&xml, 0, "rehearsal"), ["A", "B"]);
    }

    #[test]
    fn a_drift_is_said_in_words_with_a_dashed_line_to_its_end() {
        let piece = piece(SIX, |settings| {
            settings.motion.shifts = Shifts::Count(2);
        });
        let xml = piece.xml();
        let words = texts(&xml, 1, "words");
        assert_eq!(
            words,
            [
                "written against the\nsteady part's beat one\nenter: unison",
                "drift ahead over 4 cycles,\nto 1 sixteenth ahead",
                "1 sixteenth ahead",
                "drift ahead over 4 cycles,\nto 2 sixteenths ahead",
                "2 sixteenths ahead",
            ]
        );
        assert_eq!(count(&xml, "<dashes type=\"start\""), 2);
        assert_eq!(count(&xml, "<dashes type=\"stop\""), 2);
        // While it drifts, it is written where it comes from.
        let pattern = piece.pattern(1);
        assert_eq!(pattern[1], pattern[0]);
        assert_eq!(pattern[3], pattern[2]);
    }

    /// Six steps against four, by hand: D . F G goes round, so every other cycle of the steady voice
    /// is the same. In the drift stands what the copy leaves from, where it would be; after it, all a
    /// step earlier.
    #[test]
    fn unequal_cycles_are_written_where_they_fall() {
        let own = piece("D4 . F4 G4 A4 .", |settings| {
            settings.motion.dwell = 3;
            settings.motion.drift = 1;
            settings.copies[0].length = Some(4);
        });
        let pattern = own.pattern(1);
        let (even, odd) = ("62 . 65 67 62 .", "65 67 62 . 65 67");
        assert_eq!(pattern[..5], [even, odd, even, odd, ". 65 67 62 . 65"]);
        let words = texts(&own.xml(), 1, "words");
        assert!(
            words
                .iter()
                .any(|words| words.contains("round in 4 sixteenths")),
            "{words:?}"
        );
        assert!(
            !words.iter().any(|words| words.contains("unison")),
            "{words:?}"
        );
    }

    #[test]
    fn round_the_cycle_it_is_unison_again() {
        let piece = piece("D4 F4 .", |settings| settings.motion.shift_by = -1);
        let words = texts(&piece.xml(), 1, "words");
        assert_eq!(words.last().unwrap(), "unison");
        assert_eq!(words[1], "drift back over 4 cycles,\nto 1 sixteenth behind");
        let pattern = piece.pattern(1);
        assert_eq!(pattern.first(), pattern.last());
    }

    #[test]
    fn with_a_beat_one_of_its_own_a_part_keeps_its_pattern_and_is_told_where_it_falls() {
        let mut piece = piece(SIX, |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(2);
        });
        piece.layout = Layout::OwnBeatOne;
        assert!(piece.pattern(1).iter().all(|bar| bar == "62 65 67 . 69 72"));
        let words = texts(&piece.xml(), 1, "words");
        assert_eq!(
            words,
            [
                "counts its own beat one\nenter: unison",
                "jump: 1 sixteenth ahead\nbeat one is 1 sixteenth\nbefore the steady part's",
                "jump: 2 sixteenths ahead\nbeat one is 2 sixteenths\nbefore the steady part's",
            ]
        );
    }

    #[test]
    fn a_phrase_that_lengthens_has_a_time_signature_a_stage() {
        let piece = piece("D4 F4 G4 . A4 C5 . .", |settings| {
            settings.growth.growth = Growth::Lengthen;
            settings.motion.copies = 0;
        });
        let xml = piece.xml();
        assert_eq!(texts(&xml, 0, "beats"), ["1", "2", "4", "5", "2"]);
        assert_eq!(texts(&xml, 0, "beat-type"), ["16", "16", "16", "16", "4"]);
        let words = texts(&xml, 0, "words");
        assert!(words.contains(&"3 of 5 notes".to_owned()), "{words:?}");
    }

    #[test]
    fn a_phrase_that_fills_in_keeps_its_bar_and_shows_the_notes_that_stand() {
        let piece = piece("D4 F4 G4 A4", |settings| {
            settings.growth.growth = Growth::Fill;
            settings.growth.step = 2;
            settings.motion.copies = 0;
        });
        assert_eq!(piece.pattern(0), ["62 . 67 .", "62 65 67 69"]);
        let words = texts(&piece.xml(), 0, "words");
        let opening = ["2 of 4 notes", "D minor pentatonic\nplay 1-4x (2)"];
        assert_eq!(words[..2], opening);
    }

    #[test]
    fn a_build_up_is_written_stage_by_stage() {
        let piece = piece("D4 F4 G4 A4", |settings| {
            settings.motion.motion = Motion::BuildUp;
            settings.motion.shifts = Shifts::Count(1);
            settings.growth.step = 2;
        });
        assert_eq!(
            piece.pattern(1),
            ["62 65 67 69", ". . . .", ". 67 . 62", "65 67 69 62"]
        );
        let words = texts(&piece.xml(), 1, "words");
        let silent = "silent, then build up again,\n1 sixteenth ahead".to_owned();
        assert!(words.contains(&silent), "{words:?}");
    }

    #[test]
    fn thirds_of_a_beat_throughout_make_a_compound_metre() {
        let piece = piece("D4 F4 G4 A4 C5 . D5", |settings| {
            settings.capture.grid = Grid::EighthTriplet;
            settings.motion.copies = 0;
        });
        let xml = piece.xml();
        assert_eq!(texts(&xml, 0, "beats"), ["7"]);
        assert_eq!(texts(&xml, 0, "beat-type"), ["8"]);
        assert!(!xml.contains("time-modification"));
        let dotted = "<beat-unit>quarter</beat-unit>\n      <beat-unit-dot/>";
        assert!(xml.contains(dotted), "{xml}");
    }

    #[test]
    fn a_triplet_among_sixteenths_is_a_triplet() {
        let third = 1.0 / 3.0;
        let note = |onset, length| Note {
            onset,
            length,
            key: Key::new(62).unwrap(),
            velocity: Velocity::new(0.7),
            said: None,
        };
        let mut settings = Settings::default();
        settings.motion.copies = 0;
        let notes = [
            note(0.0, third),
            note(third, third),
            note(2.0 * third, third),
            note(1.0, 0.25),
            note(1.25, 0.5),
        ];
        let xml = Played::new(Phrase::new(notes, 2.0).unwrap(), settings).xml();
        let types = texts(&xml, 0, "type");
        assert_eq!(
            types,
            ["eighth", "eighth", "eighth", "16th", "eighth", "16th"]
        );
        assert_eq!(texts(&xml, 0, "actual-notes"), ["3", "3", "3"]);
        assert_eq!(texts(&xml, 0, "duration"), ["8", "8", "8", "6", "12", "6"]);
    }

    #[test]
    fn each_degree_has_its_letter() {
        let piece = piece("F#4 G#4 A4 B4 C#5 D5 F5 F#5", |settings| {
            settings.motion.copies = 0;
            settings.fold.source_tonic = Some(6);
            settings.fold.source_mode = Some(ModeName::HarmonicMinor);
        });
        let xml = piece.xml();
        let steps = texts(&xml, 0, "step").concat();
        assert_eq!(steps, "FGABCDEF");
        // No signature says an E sharp, so every accidental is shown, but once a bar and octave.
        assert_eq!(texts(&xml, 0, "accidental").len(), 5);
        assert_eq!(texts(&xml, 0, "fifths"), ["0"]);
    }

    #[test]
    fn a_diatonic_mode_has_a_signature_and_shows_no_accidental_of_it() {
        let piece = piece("E4 F#4 G4 A4 B4 C#5 D5 E5", |settings| {
            settings.motion.copies = 0;
        });
        let xml = piece.xml();
        assert_eq!(texts(&xml, 0, "fifths"), ["2"]);
        assert_eq!(texts(&xml, 0, "mode"), ["dorian"]);
        assert_eq!(count(&xml, "<accidental>"), 0);
        assert_eq!(texts(&xml, 0, "alter"), ["1", "1"]);
    }

    #[test]
    fn where_the_mode_turns_there_is_a_new_bar_and_a_new_signature() {
        let mut piece = piece("D4 E4 F4 G4 A4 B4 C5 D5", |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(0);
            settings.fold.fold = FoldKind::ByDegree;
            settings.fold.target_tonic = 2;
            settings.fold.target_mode = ModeName::Phrygian;
        });
        // The first three of eight cycles in the source mode.
        let mut settings = *piece.process.settings();
        settings.fold.fold = FoldKind::Off;
        let before = Process::new(piece.process.phrase().clone(), settings, 0.0);
        let mut notes: Vec<_> = unroll(&before, Span::new(0.0, 6.0)).collect();
        notes.extend(unroll(&piece.process, Span::new(6.0, piece.form.end())));
        piece.notes = notes;
        piece.modes = vec![
            (0.0, piece.process.fold().source()),
            (6.0, piece.process.fold().target()),
        ];
        let plays: Vec<_> = piece
            .score()
            .sheet()
            .passages
            .iter()
            .map(|p| p.plays)
            .collect();
        assert_eq!(plays, [3, 5]);
        let xml = piece.xml();
        assert_eq!(texts(&xml, 1, "fifths"), ["0", "-2"]);
        let words = texts(&xml, 0, "words");
        assert_eq!(words, ["D Dorian\nplay 3x", "D Phrygian\nplay 5x"]);
        assert_eq!(texts(&xml, 0, "rehearsal"), ["A"]);
    }

    #[test]
    fn a_drifting_part_turns_with_the_mode_too() {
        let mut piece = piece("D4 F4 A4 B4", |settings| {
            settings.motion.dwell = 1;
            settings.motion.drift = 2;
            settings.motion.shifts = Shifts::Count(1);
        });
        for note in &mut piece.notes {
            if note.on >= 1.5 && note.key.pitch_class() == 11 {
                note.key = Key::new(70).unwrap();
            }
        }
        assert_eq!(
            piece.pattern(1)[..3],
            ["62 65 69 71", "62 65 69 70", "65 69 70 62"]
        );
    }

    #[test]
    fn an_instrument_that_sounds_higher_is_written_lower() {
        let mut piece = piece(SIX, |settings| settings.motion.shifts = Shifts::Count(0));
        piece.transpositions = vec![Transposition::OctaveUp, Transposition::TwoOctavesUp];
        let xml = piece.xml();
        assert!(texts(&xml, 0, "octave").starts_with(&["3".into(), "3".into()]));
        assert!(texts(&xml, 1, "octave").starts_with(&["2".into(), "2".into()]));
        assert_eq!(texts(&xml, 0, "octave-change"), ["1"]);
        assert_eq!(texts(&xml, 1, "octave-change"), ["2"]);
        assert_eq!(texts(&xml, 1, "sign"), ["G"]);
        assert_eq!(texts(&xml, 0, "words")[0], "sounds an octave higher");
    }

    #[test]
    fn a_part_that_waits_has_bars_of_rest() {
        let piece = piece(SIX, |settings| {
            settings.motion.copies = 2;
            settings.motion.entry = 3;
            settings.motion.copies_move = CopiesMove::InTurn;
            settings.motion.shifts = Shifts::Count(1);
        });
        assert_eq!(piece.pattern(2)[0], ". . . . . .");
        let xml = piece.xml();
        assert_eq!(count(&xml, "<rest measure=\"yes\"/>"), 1);
        // What it has to know as it enters is said there, not where it rests.
        let words = texts(&xml, 2, "words");
        assert_eq!(
            words[0],
            "written against the\nsteady part's beat one\nenter: unison"
        );
    }

    #[test]
    fn whoever_does_not_drift_holds_the_tempo() {
        let piece = piece(SIX, |settings| {
            settings.motion.copies = 2;
            settings.motion.copies_move = CopiesMove::InTurn;
            settings.motion.shifts = Shifts::Count(1);
        });
        let xml = piece.xml();
        let holds = [0, 1, 2].map(|part| {
            let words = texts(&xml, part, "words");
            words.iter().any(|words| words == "hold tempo")
        });
        assert_eq!(holds, [true, false, true]);
    }

    #[test]
    fn a_note_that_sounds_over_the_repeat_rings_on() {
        let piece = piece("D4 - F4 .", |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(1);
        });
        assert_eq!(count(&piece.xml(), "<tied type=\"let-ring\"/>"), 1);
    }

    #[test]
    fn steady_and_moving_parts_are_named_so() {
        let names = |copies| {
            let xml = piece(SIX, |settings| settings.motion.copies = copies).xml();
            with(&xml, |root| {
                let names = root
                    .descendants()
                    .filter(|node| node.has_tag_name("part-name"));
                names
                    .map(|node| node.text().unwrap().to_owned())
                    .collect::<Vec<_>>()
            })
        };
        assert_eq!(names(1), ["Steady", "Copy 1"]);
        assert_eq!(names(2), ["Steady", "Copy 1", "Copy 2"]);
    }

    #[test]
    fn what_a_host_rendered_to_the_sample_is_written_as_it_was_meant() {
        let mut piece = piece(SIX, |settings| {
            settings.motion.copies = 2;
            settings.motion.shifts = Shifts::Count(3);
        });
        let meant = piece.xml();
        // A sample at 44.1 kHz and 96 bpm.
        for (index, note) in piece.notes.iter_mut().enumerate() {
            let hair = if index % 2 == 0 { 3.6e-5 } else { -3.6e-5 };
            note.on += hair;
            note.off -= hair;
        }
        piece.notes.sort_by(|a, b| a.on.total_cmp(&b.on));
        assert_eq!(piece.xml(), meant);
    }

    #[test]
    fn what_was_played_loosely_is_written_on_the_step() {
        let note = |onset, length, key| Note {
            onset,
            length,
            key: Key::new(key).unwrap(),
            velocity: Velocity::new(0.7),
            said: None,
        };
        let mut settings = Settings::default();
        settings.motion.copies = 0;
        let notes = [
            note(0.03, 0.19, 62),
            note(0.23, 0.31, 65),
            note(0.97, 0.2, 69),
        ];
        let piece = Played::new(Phrase::new(notes, 1.0).unwrap(), settings);
        // The last was struck just before the seam: it is the next cycle's first.
        assert_eq!(piece.pattern(0)[1], "62 65 . .");
        let chord: Vec<_> = piece.score().sheet().passages[1].parts[0]
            .iter()
            .map(|note| (note.onset, note.key.number(), note.length))
            .collect();
        assert_eq!(chord, [(0, 62, 240), (0, 69, 240), (240, 65, 240)]);
    }

    #[test]
    fn where_in_the_song_it_began_is_not_written() {
        let here = piece(SIX, |settings| settings.motion.copies = 2);
        let process = Process::new(
            here.process.phrase().clone(),
            *here.process.settings(),
            17.25,
        );
        let form = Form::new(&process);
        let notes = unroll(&process, Span::new(17.25, form.end())).collect();
        let there = Played {
            performance: Performance::proposed(&process).into_owned(),
            process,
            form,
            notes,
            modes: Vec::new(),
            layout: Layout::default(),
            transpositions: Vec::new(),
        };
        assert_eq!(there.xml(), here.xml());
    }

    #[test]
    fn what_goes_on_says_so() {
        let ends = |shifts| {
            let xml = piece(SIX, |settings| settings.motion.shifts = shifts).xml();
            texts(&xml, 0, "words").last().cloned().unwrap()
        };
        assert_eq!(ends(Shifts::Endless), "play 6-12x (8)\nand so on");
        assert_eq!(ends(Shifts::Auto), "play 6-12x (8)");
    }

    #[test]
    fn a_held_bass_under_a_melody_has_a_line_of_its_own() {
        let note = |onset, length, key| Note {
            onset,
            length,
            key: Key::new(key).unwrap(),
            velocity: Velocity::new(0.7),
            said: None,
        };
        let notes = [note(0.0, 2.0, 50), note(0.0, 1.0, 74), note(1.0, 1.0, 77)];
        let mut settings = Settings::default();
        settings.motion.copies = 0;
        let xml = Played::new(Phrase::new(notes, 2.0).unwrap(), settings).xml();
        assert_eq!(texts(&xml, 0, "voice"), ["1", "1", "2"]);
        assert_eq!(texts(&xml, 0, "type"), ["quarter", "quarter", "half"]);
        assert_eq!(count(&xml, "<backup>"), 1);
    }

    #[test]
    fn a_long_piece_for_nine_parts_is_written_whole() {
        let keys: Vec<_> = (0..32)
            .map(|step| format!("{}4", ["D", "F", "A", "C"][step % 4]))
            .collect();
        let piece = piece(&(keys.join(" ") + " E4"), |settings| {
            settings.motion.copies = 8;
            settings.motion.dwell = 64;
            settings.motion.drift = 64;
        });
        let sheet = piece.score().sheet();
        let played: i64 = sheet
            .passages
            .iter()
            .map(|p| p.length * i64::from(p.plays))
            .sum();
        assert_eq!(played, crate::time::to_ticks(piece.form.end()));
        assert_eq!(count(&piece.xml(), "<part id="), 9);
    }

    #[test]
    fn a_title_may_hold_any_character() {
        let piece = piece(SIX, |settings| settings.motion.copies = 0);
        let mut score = piece.score();
        score.piece.title = "Wake & <lantern>\u{0} \"9\"";
        let xml = score.to_musicxml();
        let title = with(&xml, |root| {
            let title = root
                .descendants()
                .find(|node| node.has_tag_name("work-title"));
            title.unwrap().text().unwrap().to_owned()
        });
        assert_eq!(title, "Wake & <lantern> \"9\"");
    }

    #[test]
    fn a_phrase_of_rests_is_written_as_rests() {
        let piece = piece(". . . .", |_| {});
        let xml = piece.xml();
        assert_eq!(count(&xml, "<pitch>"), 0);
        assert!(xml.contains("<rest measure=\"yes\"/>"));
    }

    #[test]
    fn a_custom_mode_is_named_so() {
        let piece = piece("C4 F#4", |settings| {
            settings.motion.copies = 0;
            settings.fold.source_tonic = Some(0);
            settings.fold.source_mode = Some(ModeName::Custom);
            settings.fold.custom = PitchSet::of(&[0, 6]);
        });
        let words = &texts(&piece.xml(), 0, "words")[0];
        assert!(words.starts_with("C custom\n"), "{words}");
    }
}

mod there_and_back {
    use super::*;
    use crate::exchange::open;

    /// The bars of a cycle, of one part, as they are opened from a file.
    fn opened(piece: &Played, part: usize, bars: usize) -> Vec<(Beats, Beats, u8)> {
        let choice = open::Excerpt {
            part: Some(part),
            bars: Some(1..=bars),
        };
        let step = piece.process.settings().step();
        let found = open::read(piece.xml().as_bytes(), step, &choice).unwrap();
        assert_eq!(found.phrase.length(), piece.process.phrase().length());
        assert_eq!(found.tempo, Some(96.0));
        notes(&found.phrase)
    }

    fn notes(phrase: &Phrase) -> Vec<(Beats, Beats, u8)> {
        let notes = phrase.notes().iter();
        notes
            .map(|note| (note.onset, note.length, note.key.number()))
            .collect()
    }

    #[test]
    fn what_is_written_in_unison_is_opened_as_the_same_phrase() {
        // A tie over a beat, a chord, rests; and four bars of four.
        let long = "D4 - F4+A4 . C5 - - E5 ".repeat(8);
        for (text, bars) in [("D4 - F4+A4 . C5 - - E5 . G4 A4 .", 1), (&long, 4)] {
            for layout in [Layout::SharedBeatOne, Layout::OwnBeatOne] {
                let mut piece = piece(text, |settings| settings.resulting.which = Resulting::Top);
                piece.layout = layout;
                piece.transpositions = vec![Transposition::AtPitch, Transposition::TwoOctavesUp];
                let phrase = notes(piece.process.phrase());
                assert_eq!(opened(&piece, 0, bars), phrase, "steady, {layout:?}");
                assert_eq!(opened(&piece, 1, bars), phrase, "moving, {layout:?}");
            }
        }
    }

    #[test]
    fn a_score_lists_its_parts_by_name_and_its_bars() {
        let piece = piece(SIX, |settings| settings.resulting.which = Resulting::Top);
        let contents = open::contents(piece.xml().as_bytes()).unwrap();
        assert_eq!(contents.parts, ["Steady", "Copy 1", "Resulting line"]);
        assert_eq!(contents.bars, piece.form.stages.len());
    }
}

mod resulting {
    use super::*;

    /// Two shifts by a step, eight cycles a dwell.
    fn ferry(adjust: impl FnOnce(&mut Settings)) -> Played {
        piece(SIX, |settings| {
            settings.resulting.which = Resulting::Top;
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(2);
            adjust(settings);
        })
    }

    // By hand, a step a column:
    // steady       62 65 67  . 69 72
    // 1 ahead      65 67  . 69 72 62
    // 2 ahead      67  . 69 72 62 65

    #[test]
    fn the_line_is_the_last_part_and_rests_in_unison() {
        let piece = ferry(|_| ());
        assert_eq!(
            piece.pattern(2),
            [". . . . . .", "65 67 67 69 72 72", "67 65 69 72 69 72"]
        );
        let xml = piece.xml();
        let names: Vec<String> = with(&xml, |root| {
            root.descendants()
                .filter(|node| node.has_tag_name("part-name"))
                .map(|node| node.text().unwrap().to_owned())
                .collect()
        });
        assert_eq!(names, ["Steady", "Copy 1", "Resulting line"]);
        assert_eq!(count(&xml, "<rest measure=\"yes\"/>"), 1);
        assert_eq!(texts(&xml, 2, "type"), vec!["16th"; 12]);
    }

    #[test]
    fn where_voices_coincide_it_has_their_rhythm() {
        let piece = ferry(|settings| settings.resulting.which = Resulting::Together);
        assert_eq!(
            piece.pattern(2)[1..],
            ["65 67 . . 72 72", "67 . 69 . 69 72"]
        );
        let bottom = ferry(|settings| settings.resulting.which = Resulting::Bottom);
        assert_eq!(bottom.pattern(2)[1], "62 65 67 69 69 62");
    }

    #[test]
    fn in_a_repeat_it_is_told_when_to_enter_and_when_to_leave() {
        let xml = ferry(|_| ()).xml();
        assert_eq!(
            texts(&xml, 2, "words"),
            [
                "the top of all parts",
                "enters after the 1st time,\nleaves before the last",
                "enters after the 1st time",
            ]
        );
        // What words say to the player is said to a program for every note.
        assert_eq!(count(&xml, "time-only=\"2,3,4,5,6,7\""), 6);
        assert_eq!(count(&xml, "time-only=\"2,3,4,5,6,7,8\""), 6);
        assert_eq!(count(&xml, "time-only"), 12);
    }

    #[test]
    fn in_a_dwell_of_three_it_plays_the_second_time_only() {
        let xml = ferry(|settings| settings.motion.dwell = 3).xml();
        let words = texts(&xml, 2, "words");
        assert_eq!(
            words[1..],
            ["only the 2nd time", "enters after the 1st time"]
        );
        let xml = ferry(|settings| settings.motion.dwell = 2).xml();
        // A cycle before and a cycle after a move: only the dwell that lasts leaves it any room.
        assert_eq!(texts(&xml, 2, "words")[1..], ["only the last time"]);
        let xml = ferry(|settings| settings.motion.dwell = 1).xml();
        assert_eq!(texts(&xml, 2, "words").len(), 1);
        assert_eq!(count(&xml, "time-only"), 0);
    }

    #[test]
    fn it_keeps_to_the_shared_beat_one_whatever_the_others_count() {
        let mut piece = ferry(|_| ());
        let shared = piece.pattern(2);
        piece.layout = Layout::OwnBeatOne;
        assert_eq!(piece.pattern(2), shared);
        assert_ne!(piece.pattern(1)[1], "65 67 . 69 72 62");
    }

    #[test]
    fn its_octave_sounds_and_its_instrument_is_the_last_in_the_list() {
        let mut piece = ferry(|settings| settings.resulting.octave = 1);
        assert_eq!(piece.pattern(2)[1], "77 79 79 81 84 84");
        piece.transpositions = vec![Transposition::TwoOctavesUp; MAX_VOICES];
        // A copy that is not in use has no say.
        assert_eq!(texts(&piece.xml(), 2, "octave-change"), [""; 0]);
        piece.transpositions.push(Transposition::OctaveUp);
        let xml = piece.xml();
        // F5 sounds; F4 is written.
        assert_eq!(texts(&xml, 2, "octave")[0], "4");
        assert_eq!(texts(&xml, 2, "octave-change"), ["1"]);
        assert_eq!(
            texts(&xml, 2, "words")[0],
            "sounds an octave higher\nthe top of all parts"
        );
    }

    #[test]
    fn it_does_not_split_what_the_others_repeat() {
        let plays = |piece: &Played| -> Vec<u32> {
            let sheet = piece.score().sheet();
            sheet.passages.iter().map(|passage| passage.plays).collect()
        };
        let without = ferry(|settings| settings.resulting.which = Resulting::Off);
        assert_eq!(plays(&ferry(|_| ())), plays(&without));
        assert_eq!(count(&without.xml(), "<part id="), 2);
    }
}

mod modulating {
    use super::*;
    use crate::exchange::Unrolled;

    const SCALE: &str = "D4 E4 F4 G4 A4 B4 C5 D5";

    /// Eight cycles of two beats; from the third on it turns, over three cycles.
    fn turning_to(mode: ModeName) -> Played {
        piece(SCALE, |settings| {
            settings.motion.copies = 0;
            settings.modulations = Modulations::new([Modulation {
                place: Place::Beats(4.0),
                tonic: 2,
                mode,
                over: 3,
            }]);
        })
    }

    #[test]
    fn a_bar_is_not_repeated_while_its_pitches_turn() {
        // F, C and G turn, the least distant first: one in each of the third to fifth cycle.
        let piece = turning_to(ModeName::Lydian);
        assert_eq!(
            piece.pattern(0),
            [
                "62 64 65 67 69 71 72 74",
                "62 64 66 67 69 71 72 74",
                "62 64 66 67 69 71 73 74",
                "62 64 66 68 69 71 73 74",
            ]
        );
        let plays: Vec<u32> = piece
            .score()
            .sheet()
            .passages
            .iter()
            .map(|p| p.plays)
            .collect();
        assert_eq!(plays, [2, 1, 1, 4]);
    }

    #[test]
    fn the_mode_is_said_at_its_bar_and_its_signature_stands_there() {
        let xml = turning_to(ModeName::Lydian).xml();
        assert_eq!(
            texts(&xml, 0, "words"),
            [
                "D Dorian\nplay 2x",
                "turning to D Lydian",
                "D Lydian\nplay 4x"
            ]
        );
        assert_eq!(texts(&xml, 0, "fifths"), ["0", "3"]);
        assert_eq!(texts(&xml, 0, "mode"), ["dorian", "lydian"]);
    }

    #[test]
    fn what_has_turned_is_spelt_in_the_mode_that_comes() {
        let xml = turning_to(ModeName::Lydian).xml();
        // F sharp; F sharp and C sharp; after that the signature has them.
        assert_eq!(texts(&xml, 0, "accidental"), vec!["sharp"; 3]);
        let xml = turning_to(ModeName::Phrygian).xml();
        // B flat; after that B flat and E flat.
        assert_eq!(texts(&xml, 0, "fifths"), ["0", "-2"]);
        assert_eq!(texts(&xml, 0, "accidental"), ["flat"]);
        let letters = texts(&xml, 0, "step").concat();
        assert_eq!(letters, "DEFGABCD".repeat(letters.len() / 8));
    }

    #[test]
    fn a_tonic_keeps_its_letter_through_the_plan() {
        // By itself the last would be called A sharp Locrian.
        let to = |place, mode| Modulation {
            place: Place::Beats(place),
            tonic: 10,
            mode,
            over: 0,
        };
        let piece = piece(SCALE, |settings| {
            settings.motion.copies = 0;
            settings.modulations =
                Modulations::new([to(4.0, ModeName::Lydian), to(8.0, ModeName::Locrian)]);
        });
        let words = texts(&piece.xml(), 0, "words");
        let modes: Vec<_> = words
            .iter()
            .map(|words| words.lines().next().unwrap())
            .collect();
        assert_eq!(modes, ["D Dorian", "B♭ Lydian", "B♭ Locrian"]);
        assert_eq!(texts(&piece.xml(), 0, "fifths"), ["0", "-1", "-7"]);
    }

    #[test]
    fn with_the_modes_of_the_piece_or_without_it_is_the_same_score() {
        let mut piece = turning_to(ModeName::Lydian);
        let xml = piece.xml();
        piece.modes = Unrolled::new(piece.process.clone(), 96.0, 4.0).modes;
        assert_eq!(piece.modes.len(), 2);
        assert_eq!(piece.xml(), xml);
    }

    #[test]
    fn the_resulting_line_turns_with_the_voices_and_goes_on() {
        // Two parts a step apart; the mode turns from the fourth cycle of their second dwell on.
        let piece = piece(SCALE, |settings| {
            settings.resulting.which = Resulting::Top;
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(2);
            settings.modulations = Modulations::new([Modulation {
                place: Place::Beats(22.0),
                tonic: 2,
                mode: ModeName::Lydian,
                over: 0,
            }]);
        });
        assert_eq!(
            piece.pattern(2)[1..3],
            ["64 65 67 69 71 72 74 74", "64 66 68 69 71 73 74 74"]
        );
        let xml = piece.xml();
        assert_eq!(
            texts(&xml, 2, "words")[1..3],
            ["enters after the 1st time", "leaves before the last time"]
        );
        assert_eq!(texts(&xml, 2, "fifths"), ["0", "3"]);
        assert_eq!(count(&xml, "<accidental>"), 0);
    }
}

mod laws {
    use super::*;

    fn settings() -> impl Strategy<Value = Settings> {
        let motion = (
            0usize..4,
            0usize..3,
            -3i32..4,
            0usize..3,
            1u32..4,
            1u32..4,
            0u32..3,
        );
        let growth = (0usize..3, -2i32..4, 1u32..3, any::<bool>());
        let offset = prop_oneof![Just(0.0), Just(2.0), -4.0..4.0f64];
        (motion, growth, offset, 0..Grid::ALL.len()).prop_map(
            |((copies, motion, shift, moves, dwell, drift, entry), growth, offset, grid)| {
                let mut settings = Settings::default();
                settings.capture.grid = Grid::ALL[grid];
                settings.motion.copies = copies;
                settings.motion.motion = [Motion::Drift, Motion::Jump, Motion::BuildUp][motion];
                settings.motion.shift_by = shift;
                settings.motion.copies_move =
                    [CopiesMove::Fanned, CopiesMove::Together, CopiesMove::InTurn][moves];
                settings.motion.dwell = dwell;
                settings.motion.drift = drift;
                settings.motion.entry = entry;
                settings.motion.offset = offset;
                settings.motion.shifts = Shifts::Count(3);
                settings.growth.growth = [Growth::Off, Growth::Fill, Growth::Lengthen][growth.0];
                settings.growth.step = growth.1;
                settings.growth.every = growth.2;
                settings.growth.copies_grow = growth.3;
                settings.resulting.which =
                    [Resulting::Off, Resulting::Top, Resulting::Together][motion];
                settings
            },
        )
    }

    /// Onset, length and key, in thirty-seconds and in triplets of them.
    fn loose_phrase() -> impl Strategy<Value = Phrase> {
        let unit = prop_oneof![Just(0.125), Just(1.0 / 12.0), Just(0.25), Just(0.0731)];
        let note = (0u32..16, 1u32..30, 20u8..110);
        (unit, prop::collection::vec(note, 0..14), 1u32..9).prop_map(|(unit, notes, beats)| {
            let length = f64::from(beats) * 0.75;
            let notes = notes.into_iter().map(|(onset, long, key)| Note {
                onset: (f64::from(onset) * unit) % length,
                length: f64::from(long) * unit,
                key: Key::new(key).unwrap(),
                velocity: Velocity::new(0.7),
                said: None,
            });
            Phrase::new(notes, length).unwrap()
        })
    }

    /// Twenty-fourths of a written quarter.
    fn number(node: Node, name: &str) -> i64 {
        let child = node.children().find(|child| child.has_tag_name(name));
        child
            .and_then(|child| child.text())
            .unwrap()
            .parse()
            .unwrap()
    }

    /// Every bar holds what its time signature says, in each of its lines.
    fn check_bars(root: Node) {
        for part in root.children().filter(|node| node.has_tag_name("part")) {
            let mut signed = 0;
            for bar in part.children().filter(|node| node.has_tag_name("measure")) {
                let mut now = 0;
                for node in bar.descendants() {
                    match node.tag_name().name() {
                        "time" => {
                            signed = number(node, "beats") * 96 / number(node, "beat-type");
                        }
                        "backup" => {
                            assert_eq!(now, signed);
                            now -= number(node, "duration");
                        }
                        "forward" => now += number(node, "duration"),
                        "note" if !node.children().any(|child| child.has_tag_name("chord")) => {
                            now += number(node, "duration");
                        }
                        _ => {}
                    }
                }
                assert_eq!(now, signed, "bar {:?}", bar.attribute("number"));
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(96))]

        #[test]
        fn whatever_is_played_every_bar_is_full(phrase in loose_phrase(), settings in settings()) {
            let mut piece = Played::new(phrase, settings);
            for layout in [Layout::SharedBeatOne, Layout::OwnBeatOne] {
                piece.layout = layout;
                with(&piece.xml(), check_bars);
            }
        }

        #[test]
        fn repeat_by_repeat_the_resulting_line_is_what_is_played(
            mut settings in settings(),
            which in 1usize..4,
            over in 0u32..4,
        ) {
            settings.resulting.which =
                [Resulting::Off, Resulting::Top, Resulting::Bottom, Resulting::Together][which];
            settings.motion.copies = settings.motion.copies.max(1);
            settings.motion.dwell += 2;
            settings.motion.offset = settings.motion.offset.round();
            settings.modulations = Modulations::new([Modulation {
                place: Place::Stage(3),
                tonic: 2,
                mode: ModeName::Lydian,
                over,
            }]);
            let phrase = Phrase::from_text(SIX, settings.step()).unwrap();
            let piece = Played::new(phrase, settings);
            let mut written = Vec::new();
            for passage in piece.score().sheet().passages {
                let (first, last) = passage.line_plays.unwrap_or((1, 0));
                for play in first..=last {
                    let at = crate::time::to_ticks(passage.at) + i64::from(play - 1) * passage.length;
                    let line = passage.parts.last().unwrap();
                    written.extend(line.iter().map(|note| (at + note.onset, note.key)));
                }
            }
            // What begins with the end, but for rounding, is no part of the piece.
            let end = piece.form.end() - 1e-6;
            let played = piece.notes.iter().filter(|note| note.part == Part::ResultingLine && note.on < end);
            let played: Vec<_> = played
                .map(|note| (crate::time::to_ticks(note.on), note.key))
                .collect();
            prop_assert_eq!(written, played);
        }

        #[test]
        fn no_pattern_loses_a_note_on_its_way_to_the_page(phrase in loose_phrase()) {
            let mut settings = Settings::default();
            settings.motion.copies = 0;
            let piece = Played::new(phrase, settings);
            let keys = |notes: &[PartNote]| -> std::collections::BTreeSet<u8> {
                notes.iter().map(|note| note.key.number()).collect()
            };
            let played = piece.process.phrase().notes().iter();
            let played: std::collections::BTreeSet<u8> = played.map(|n| n.key.number()).collect();
            let sheet = piece.score().sheet();
            // What was struck just before the seam comes with the next cycle.
            let written = keys(&sheet.passages.last().unwrap().parts[0]);
            prop_assert_eq!(&written, &played);
            let xml = piece.xml();
            let heads = with(&xml, |root| {
                let notes = root.descendants().filter(|node| node.has_tag_name("pitch"));
                let key = |pitch: Node| {
                    let step = pitch.children().find(|c| c.has_tag_name("step"));
                    let letter = step.unwrap().text().unwrap();
                    let octave = number(pitch, "octave");
                    let alter = pitch.children().any(|c| c.has_tag_name("alter"));
                    let alter = if alter { number(pitch, "alter") } else { 0 };
                    let natural = crate::phrase::key_from_name(&format!("{letter}{octave}"));
                    (i64::from(natural.unwrap().number()) + alter) as u8
                };
                notes.map(key).collect::<std::collections::BTreeSet<u8>>()
            });
            prop_assert_eq!(heads, played);
        }
    }
}

mod read {
    use super::*;

    /// A file of one part with these bars.
    fn file(bars: &[&str]) -> String {
        let bars = bars
            .iter()
            .enumerate()
            .map(|(index, bar)| format!("<measure number=\"{}\">{bar}</measure>", index + 1));
        format!(
            "<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Bell</part-name></score-part></part-list><part id=\"P1\">{}</part></score-partwise>",
            bars.collect::<String>()
        )
    }

    #[test]
    fn an_odd_bar_is_as_long_as_its_time_signature_and_a_pick_up_leads_to_it() {
        let seven = "<attributes><divisions>12</divisions><time><beats>7</beats><beat-type>8</beat-type></time></attributes>";
        let bar = [seven, &note('D', 4, 42, "")].concat();
        let read = read_phrase_xml(file(&[&bar]).as_bytes(), &Excerpt::default()).unwrap();
        let metre = crate::metre::Metre::grouped([2, 2, 3], 8).unwrap();
        assert_eq!(read.phrase.length(), 3.5);
        let known = crate::phrase::Bar::around(metre, 0.0);
        assert_eq!(read.phrase.bar(), Some(known));
        // As it is grouped in the file.
        let grouped = bar.replace("<beats>7<", "<beats>3+2+2<");
        let read = read_phrase_xml(file(&[&grouped]).as_bytes(), &Excerpt::default()).unwrap();
        let metre = read.phrase.bar().map(|bar| bar.metre.to_string());
        assert_eq!(metre.as_deref(), Some("3+2+2/8"));
        // An eighth, a bar, and a bar that the eighth is taken from.
        let pick_up = [seven, &note('D', 4, 6, "")].concat();
        let bars = [pick_up, note('E', 4, 42, ""), note('F', 4, 36, "")];
        let bars: Vec<_> = bars.iter().map(String::as_str).collect();
        let xml = file(&bars)
            .replace("number=\"1\"", "number=\"1\" implicit=\"yes\"")
            .replace("number=\"3\"", "number=\"3\" implicit=\"yes\"");
        let read = read_phrase_xml(xml.as_bytes(), &Excerpt::default()).unwrap();
        assert_eq!(read.phrase.length(), 7.0);
        assert_eq!(read.phrase.bar().map(|bar| bar.begins), Some(0.5));
        assert_eq!(read.phrase.pick_up(), 0.5);
    }

    const FOUR_FOUR: &str = "<attributes><divisions>12</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";

    /// A note of so many twelfths of a quarter, with other elements before its duration.
    fn note(step: char, octave: u8, duration: u32, more: &str) -> String {
        let (chord, tie) = match more {
            "chord" => ("<chord/>", String::new()),
            "" => ("", String::new()),
            tie => ("", format!("<tie type=\"{tie}\"/>")),
        };
        format!(
            "<note>{chord}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{duration}</duration>{tie}</note>"
        )
    }

    fn rest(duration: u32) -> String {
        format!("<note><rest/><duration>{duration}</duration></note>")
    }

    fn phrase(xml: &str) -> Vec<(Beats, Beats, u8)> {
        let read = read_phrase_xml(xml.as_bytes(), &Excerpt::default()).unwrap();
        notes(&read.phrase)
    }

    fn notes(phrase: &Phrase) -> Vec<(Beats, Beats, u8)> {
        let notes = phrase.notes().iter();
        notes.map(|n| (n.onset, n.length, n.key.number())).collect()
    }

    fn error(bytes: &[u8]) -> ScoreError {
        read_phrase_xml(bytes, &Excerpt::default()).unwrap_err()
    }

    #[test]
    fn notes_rests_and_chords_are_read() {
        let bar = [
            FOUR_FOUR.to_owned(),
            note('D', 4, 12, ""),
            note('A', 4, 12, "chord"),
            rest(12),
            note('F', 4, 24, ""),
        ];
        assert_eq!(
            phrase(&file(&[&bar.concat()])),
            [(0.0, 1.0, 62), (0.0, 1.0, 69), (2.0, 2.0, 65)]
        );
    }

    #[test]
    fn a_triplet_falls_exactly_on_its_thirds() {
        let bar = [
            FOUR_FOUR.to_owned(),
            note('D', 4, 4, ""),
            note('E', 4, 4, ""),
            note('F', 4, 4, ""),
        ];
        let third = 1.0 / 3.0;
        let read = phrase(&file(&[&bar.concat()]));
        assert_eq!(
            read,
            [
                (0.0, third, 62),
                (third, third, 64),
                (8.0 / 12.0, third, 65)
            ]
        );
    }

    #[test]
    fn tied_notes_are_one_across_the_bar_line() {
        let first = [FOUR_FOUR.to_owned(), rest(36), note('D', 4, 12, "start")].concat();
        let second = [note('D', 4, 12, "stop"), note('D', 4, 36, "")].concat();
        assert_eq!(
            phrase(&file(&[&first, &second])),
            [(3.0, 2.0, 62), (5.0, 3.0, 62)]
        );
    }

    #[test]
    fn the_phrase_ends_with_the_bar_in_which_its_last_note_does() {
        let first = [FOUR_FOUR.to_owned(), note('D', 4, 48, "start")].concat();
        let bars = [first, note('D', 4, 12, "stop"), rest(48)];
        let bars: Vec<_> = bars.iter().map(String::as_str).collect();
        let read = read_phrase_xml(file(&bars).as_bytes(), &Excerpt::default()).unwrap();
        assert_eq!(read.phrase.length(), 8.0);
        assert_eq!(notes(&read.phrase), [(0.0, 5.0, 62)]);
    }

    #[test]
    fn a_second_voice_starts_where_the_file_goes_back_to() {
        let bar = [
            FOUR_FOUR.to_owned(),
            note('D', 5, 48, ""),
            "<backup><duration>48</duration></backup><forward><duration>12</duration></forward>"
                .to_owned(),
            note('F', 4, 12, ""),
        ];
        assert_eq!(
            phrase(&file(&[&bar.concat()])),
            [(0.0, 4.0, 74), (1.0, 1.0, 65)]
        );
    }

    #[test]
    fn a_transposing_instrument_is_read_as_it_sounds() {
        let bar = [
            FOUR_FOUR,
            "<attributes><transpose><chromatic>-2</chromatic><octave-change>1</octave-change></transpose></attributes>",
            &note('D', 4, 48, ""),
        ];
        assert_eq!(phrase(&file(&[&bar.concat()])), [(0.0, 4.0, 72)]);
    }

    #[test]
    fn what_cannot_be_in_a_phrase_is_left_out_and_counted() {
        let bar = [
            FOUR_FOUR,
            "<note><grace/><pitch><step>E</step><octave>4</octave></pitch></note>",
            &note('D', 4, 24, ""),
            "<note><unpitched/><duration>24</duration></note>",
        ];
        let read = read_phrase_xml(file(&[&bar.concat()]).as_bytes(), &Excerpt::default());
        let read = read.unwrap();
        assert_eq!(read.left_out, 2);
        assert_eq!(notes(&read.phrase), [(0.0, 2.0, 62)]);
    }

    #[test]
    fn what_has_no_pitch_is_read_where_there_is_nothing_else() {
        let struck = |more: &str| {
            format!("<note><unpitched>{more}</unpitched><duration>12</duration></note>")
        };
        let on_a_line = "<display-step>D</display-step><display-octave>5</display-octave>";
        let bar = [FOUR_FOUR, &struck(""), &struck(on_a_line)].concat();
        assert_eq!(phrase(&file(&[&bar])), [(0.0, 1.0, 71), (1.0, 1.0, 74)]);
        // On the key of its instrument; keys are counted from 1 there.
        let block =
            struck(on_a_line).replace("</duration>", "</duration><instrument id=\"P1-I7\"/>");
        let instrument = "</part-name><score-instrument id=\"P1-I7\"><instrument-name>Block</instrument-name></score-instrument><midi-instrument id=\"P1-I7\"><midi-unpitched>77</midi-unpitched></midi-instrument>";
        let bar = [FOUR_FOUR, &block].concat();
        let xml = file(&[&bar]).replace("</part-name>", instrument);
        assert_eq!(phrase(&xml), [(0.0, 1.0, 76)]);
        for (wrong, right) in [
            ("77<", "0<"),
            ("77<", "129<"),
            ("77<", "1.5<"),
            ("77<", "x<"),
        ] {
            assert_eq!(phrase(&xml.replace(wrong, right)), [(0.0, 1.0, 74)]);
        }
    }

    #[test]
    fn bars_of_rest_around_the_phrase_are_no_part_of_it_but_can_be_asked_for() {
        let empty = rest(48);
        let first = [FOUR_FOUR, &empty].concat();
        let played = note('D', 4, 48, "");
        let xml = file(&[&first, &played, &empty, &played, &empty]);
        let read = |bars| {
            let excerpt = Excerpt {
                bars,
                ..Excerpt::default()
            };
            read_phrase_xml(xml.as_bytes(), &excerpt)
        };
        let found = read(None).unwrap();
        assert_eq!((found.phrase.length(), found.bars), (12.0, 5));
        assert_eq!(notes(&read(Some(4..=5)).unwrap().phrase), [(0.0, 4.0, 62)]);
        assert_eq!(read(Some(4..=5)).unwrap().phrase.length(), 8.0);
        assert_eq!(read(Some(3..=3)), Err(ScoreError::NoNotes));
        for bars in [0..=1, 5..=6, 9..=9] {
            assert_eq!(read(Some(bars)), Err(ScoreError::NoSuchBars(5)));
        }
    }

    #[test]
    fn a_bar_that_is_not_filled_lasts_as_its_metre_says_and_a_pick_up_as_its_notes() {
        let short = [FOUR_FOUR, &note('D', 4, 12, "")].concat();
        let full = note('F', 4, 48, "");
        let xml = file(&[&short, &full]);
        assert_eq!(phrase(&xml)[1].0, 4.0);
        let pick_up = xml.replace("number=\"1\"", "number=\"0\" implicit=\"yes\"");
        assert_eq!(phrase(&pick_up)[1].0, 1.0);
    }

    #[test]
    fn the_part_can_be_chosen() {
        let piece = piece(SIX, |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(1);
        });
        let read = |part, bars| {
            let excerpt = Excerpt {
                part,
                bars: Some(bars),
            };
            read_phrase_xml(piece.xml().as_bytes(), &excerpt)
        };
        let moving = read(1, 2..=2).unwrap();
        assert_eq!(moving.parts, ["Steady", "Copy 1"]);
        assert_eq!(moving.phrase.notes()[0].key.number(), 65);
        assert_eq!(moving.tempo, Some(96.0), "the steady part says it for all");
        assert_eq!(read(0, 2..=2).unwrap().tempo, Some(96.0));
        assert_eq!(moving.name.as_deref(), Some("Night ferry"));
        assert_eq!(read(2, 1..=1), Err(ScoreError::NoSuchPart(2)));
    }

    #[test]
    fn bars_that_hold_parts_are_read_too() {
        let bar = [FOUR_FOUR, &note('D', 4, 48, "")].concat();
        let xml = file(&[&bar])
            .replace("score-partwise", "score-timewise")
            .replace(
                "<part id=\"P1\"><measure number=\"1\">",
                "<measure><part id=\"P1\">",
            )
            .replace("</measure></part>", "</part></measure>");
        assert_eq!(phrase(&xml), [(0.0, 4.0, 62)]);
    }

    #[test]
    fn a_document_type_and_wide_characters_are_no_obstacle() {
        let bar = [FOUR_FOUR, &note('D', 4, 48, "")].concat();
        let doctype = "?><!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 3.1 Partwise//EN\" \"partwise.dtd\">";
        let xml = file(&[&bar]).replacen("?>", doctype, 1);
        let wide: Vec<u8> = "\u{feff}"
            .encode_utf16()
            .chain(xml.encode_utf16())
            .flat_map(u16::to_le_bytes)
            .collect();
        let read = read_phrase_xml(&wide, &Excerpt::default()).unwrap();
        assert_eq!(notes(&read.phrase), phrase(&xml));
    }

    /// What is taken into memory of a file.
    fn nodes_of(xml: &str) -> Result<usize, ScoreError> {
        let text = bounds::within(xml)?;
        assert!(text.len() <= xml.len());
        let document = Document::parse(&text).map_err(|e| ScoreError::Damaged(e.pos().row))?;
        Ok(document.descendants().count())
    }

    #[test]
    fn abbreviations_of_a_file_are_not_written_out() {
        let bar = [FOUR_FOUR, &note('D', 4, 48, "")].concat();
        let plain = file(&[&bar]);
        // Ten within ten within ten: a thousand notes.
        let own = r#"?>
            <!DOCTYPE score-partwise [
            <!ENTITY a "<note/><note/><note/><note/><note/><note/><note/><note/><note/><note/>">
            <!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">
            <!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">
            ]>"#;
        let named = plain.replacen("?>", own, 1);
        assert_eq!(phrase(&named), phrase(&plain));
        assert_eq!(nodes_of(&named), nodes_of(&plain));
        let used = named.replacen("<note>", "&c;<note>", 1);
        assert_eq!(error(used.as_bytes()), ScoreError::Damaged(6));
    }

    #[test]
    fn a_file_beyond_any_score_is_refused_before_it_is_taken_into_memory() {
        let many = |what: fn(usize) -> String, count| (0..count).map(what).collect::<String>();
        let in_root = |inside: String| format!("<score-partwise>\n{inside}</score-partwise>");
        let attributes = many(|n| format!(" a{n}=\"\""), 60_000);
        let spaces = many(|n| format!("<a xmlns:n{n}=\"n{n}\"/>"), 20_000);
        let nested = many(|_| "<a>".to_owned(), 100_000) + &many(|_| "</a>".to_owned(), 100_000);
        for xml in [
            in_root(format!("<note{attributes}/>")),
            in_root(spaces),
            in_root(nested),
            in_root(many(|_| "<a/>".to_owned(), bounds::MOST_NODES as usize)),
            in_root(many(|_| "&lt;".to_owned(), bounds::MOST_NODES as usize)),
        ] {
            assert_eq!(nodes_of(&xml), Err(ScoreError::TooMuch(2)));
            assert_eq!(error(xml.as_bytes()), ScoreError::TooMuch(2));
            assert_eq!(contents(xml.as_bytes()), Err(ScoreError::TooMuch(2)));
        }
        let much = in_root(many(|_| "<a/>".to_owned(), 1000));
        assert_eq!(nodes_of(&much), Ok(1003));
    }

    #[test]
    fn a_bar_that_is_too_short_for_a_phrase_is_told_plainly() {
        let bar = "<attributes><divisions>2000</divisions></attributes>".to_owned();
        let xml = file(&[&(bar + &note('D', 4, 1, ""))]);
        assert_eq!(error(xml.as_bytes()), ScoreError::TooShort(0.0005));
        let said = ScoreError::TooShort(0.0005).to_string();
        assert!(
            said.starts_with("0.0005 beats are less than the 0.125"),
            "{said}"
        );
    }

    #[test]
    fn what_is_no_score_is_told_plainly() {
        assert_eq!(error(b""), ScoreError::Empty);
        assert_eq!(error(b"PK\x03\x04 and so on"), ScoreError::Compressed);
        assert!(ScoreError::Compressed.to_string().contains("uncompressed"));
        assert_eq!(error(b"\x80\x81"), ScoreError::Encoding);
        assert_eq!(error(b"a shopping list"), ScoreError::Damaged(1));
        assert_eq!(error(b"<html><body/></html>"), ScoreError::NotMusicXml);
        let whole = file(&[&note('D', 4, 1, "")]);
        assert_eq!(error(&whole.as_bytes()[..200]), ScoreError::Damaged(1));
    }

    #[test]
    fn a_score_without_sense_is_told_plainly() {
        assert_eq!(error(file(&[]).as_bytes()), ScoreError::NoNotes);
        assert_eq!(error(file(&[&rest(4)]).as_bytes()), ScoreError::NoNotes);
        let bars = [note('D', 4, 1, ""), note('H', 4, 1, "")];
        let xml = file(&[&bars[0], &bars[1]]);
        assert_eq!(error(xml.as_bytes()), ScoreError::Bar(2));
        let xml = xml.replace("<step>H</step>", "<step>B</step><alter>1e99</alter>");
        assert_eq!(error(xml.as_bytes()), ScoreError::Bar(2));
        let xml = file(&["<attributes><divisions>0</divisions></attributes>"]);
        assert_eq!(error(xml.as_bytes()), ScoreError::Bar(1));
    }

    #[test]
    fn what_is_too_long_for_a_phrase_is_told_plainly() {
        let bar = [FOUR_FOUR, &note('D', 4, 48, "")].concat();
        let bars = vec![bar.as_str(); 33];
        assert_eq!(error(file(&bars).as_bytes()), ScoreError::TooLong(132.0));
        let dense: String = (0..600).map(|_| note('D', 4, 1, "")).collect();
        let dense = ["<attributes><divisions>12</divisions></attributes>", &dense].concat();
        assert_eq!(
            error(file(&[&dense]).as_bytes()),
            ScoreError::TooManyNotes(600)
        );
    }

    #[test]
    fn elements_nested_without_end_are_survived() {
        let deep = "<a>".repeat(100_000);
        let _ = error(deep.as_bytes());
    }

    /// Notes of one step or more, one after the other or together, in a phrase of whole steps.
    fn phrases() -> impl Strategy<Value = (Grid, Phrase)> {
        let word = prop_oneof![
            4 => (36u8..96).prop_map(|key| vec![key]),
            1 => prop::collection::vec(36u8..96, 2..4),
            2 => Just(vec![]),
            1 => Just(vec![0]),
        ];
        let words = prop::collection::vec(word, 1..40);
        (0..Grid::ALL.len(), words).prop_filter_map("a phrase of rests", |(grid, words)| {
            let grid = Grid::ALL[grid];
            let mut text = String::new();
            for word in &words {
                let names = word.iter().map(|key| {
                    let names = [
                        "C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B",
                    ];
                    format!("{}{}", names[usize::from(key % 12)], key / 12 - 1)
                });
                text += &match word[..] {
                    [] => ". ".to_owned(),
                    [0] => "- ".to_owned(),
                    _ => names.collect::<Vec<_>>().join("+") + " ",
                };
            }
            let phrase = Phrase::from_text(&text, grid.beats()).ok()?;
            (!phrase.is_empty() && phrase.length() <= 32.0).then_some((grid, phrase))
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(600))]

        #[test]
        fn what_is_written_is_read_back((grid, phrase) in phrases()) {
            let mut settings = Settings::default();
            settings.capture.grid = grid;
            settings.motion.copies = 0;
            let piece = Played::new(phrase, settings);
            let sheet = piece.score().sheet();
            // A bar of thirds is written larger.
            let scale = if sheet.compound { 1.5 } else { 1.0 };
            let passage = &sheet.passages[0];
            let bars = passage.length as f64 / 960.0 * scale;
            let read = read_phrase_xml(piece.xml().as_bytes(), &Excerpt::default()).unwrap();
            prop_assert!(read.phrase.length() <= bars + 1e-9);
            let tick = |beats: Beats| (beats / scale * 960.0).round() as i64;
            let found: Vec<_> = read
                .phrase
                .notes()
                .iter()
                .map(|n| (tick(n.onset), n.key, tick(n.length)))
                .collect();
            // From the first bar with a note on.
            let first = passage.parts[0][0].onset - found[0].0;
            let meant: Vec<_> = passage.parts[0]
                .iter()
                .map(|n| (n.onset - first, n.key, n.length))
                .collect();
            prop_assert_eq!(found, meant);
            // And the sheet is the phrase.
            let played: Vec<_> = piece
                .process
                .phrase()
                .notes()
                .iter()
                .map(|n| (crate::time::to_ticks(n.onset), n.key))
                .collect();
            let mut sheet: Vec<_> = passage.parts[0].iter().map(|n| (n.onset, n.key)).collect();
            sheet.dedup();
            let mut played = played;
            played.dedup();
            prop_assert_eq!(sheet, played);
        }

        #[test]
        fn no_bytes_make_it_panic(
            bytes in prop::collection::vec(any::<u8>(), 0..200),
            at in 0usize..5000,
            by in any::<u8>(),
        ) {
            let _ = read_phrase_xml(&bytes, &Excerpt::default());
            let mut damaged = piece(SIX, |settings| settings.motion.copies = 0).xml().into_bytes();
            let at = at % damaged.len();
            damaged[at] = by;
            let _ = read_phrase_xml(&damaged, &Excerpt::default());
        }
    }
}
