//! What people do: hands that are slow, sway, stray, noodle before they begin, and break off.

use super::*;
use crate::settings::Grid;
use proptest::prelude::*;

const SIXTEENTH: Beats = 0.25;

/// Four beats.
const FOUR: &str = "D4 . F4 G4 . A4 C5 . A4 . G4 . E4 . F4 .";

/// Somebody who plays with a tempo and a sway of their own, by chance but always the same.
struct Player {
    listener: Listener,
    /// Where the next words begin, in beats of the host.
    now: Beats,
    /// Beats of the host that one of the player's lasts.
    slow: f64,
    /// Standard deviation of an onset, in beats.
    sway: Beats,
    chance: u64,
    strokes: Vec<(Beats, Beats, Key)>,
}

impl Player {
    fn begins_at(now: Beats) -> Self {
        Self {
            listener: Listener::new(),
            now,
            slow: 1.0,
            sway: 0.0,
            chance: 1,
            strokes: Vec::new(),
        }
    }

    /// At so many beats of the host for one.
    fn slow(self, slow: f64) -> Self {
        Self { slow, ..self }
    }

    fn swaying(self, sway: Beats, seed: u64) -> Self {
        let chance = seed.wrapping_mul(2) + 1;
        Self {
            sway,
            chance,
            ..self
        }
    }

    fn counting(mut self, count: u32, unit: u32, line: Option<Beats>) -> Self {
        let metre = Metre::new(count, unit).unwrap();
        self.listener.count_bars(Some(Bars { metre, line }));
        self
    }

    /// -1 ..= 1: a linear congruential generator (constants of Knuth's MMIX, from memory).
    fn throw(&mut self) -> f64 {
        self.chance = self
            .chance
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.chance >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
    }

    /// Three throws, of a variance of a third each, are near enough to normal.
    fn off(&mut self) -> Beats {
        (self.throw() + self.throw() + self.throw()) * self.sway
    }

    /// A word a step.
    fn plays_on(mut self, text: &str, step: Beats) -> Self {
        let written = Phrase::from_text(text, step).unwrap();
        for note in written.notes() {
            let on = self.now + note.onset * self.slow + self.off();
            let long = (note.length * self.slow * 0.8).max(0.05);
            self.strokes.push((on, on + long, note.key));
        }
        self.now += written.length() * self.slow;
        self
    }

    fn plays(self, text: &str) -> Self {
        self.plays_on(text, SIXTEENTH)
    }

    fn plays_times(self, text: &str, times: usize) -> Self {
        (0..times).fold(self, |player, _| player.plays(text))
    }

    /// Presses hold that much later, in beats of the host.
    fn holds(mut self, later: Beats, song: Option<Beats>, settings: &CaptureSettings) -> Taken {
        let now = self.now + later;
        let mut events: Vec<(Beats, bool, Key)> = Vec::new();
        for (on, off, key) in &self.strokes {
            events.push((*on, true, *key));
            events.push((*off, false, *key));
        }
        events.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let (channel, soft) = (Channel::FIRST, Velocity::new(0.4));
        for (at, on, key) in events.into_iter().filter(|event| event.0 <= now) {
            if on {
                self.listener.note_on(at, channel, key, soft);
            } else {
                self.listener.note_off(at, Some(channel), Some(key));
            }
        }
        self.listener.take(now, song, settings).unwrap()
    }

    /// With the song at rest, the moment the last words are over.
    fn holds_at_rest(self) -> Taken {
        self.holds(0.0, None, &CaptureSettings::default())
    }

    /// With the song rolling, a beat of which is 0 on this clock.
    fn holds_in_song(self) -> Taken {
        self.holds(0.0, Some(0.0), &CaptureSettings::default())
    }
}

/// When is struck what; how long keys are held does not matter here.
fn struck(phrase: &Phrase) -> Vec<(i64, u8)> {
    let step = |onset: Beats| (onset * 960.0).round() as i64;
    let notes = phrase.notes().iter();
    notes
        .map(|note| (step(note.onset), note.key.number()))
        .collect()
}

#[track_caller]
fn assert_taken(taken: &Taken, text: &str) {
    let written = Phrase::from_text(text, SIXTEENTH).unwrap();
    assert!(taken.repeats, "{:?}", taken.phrase.to_text(SIXTEENTH).text);
    assert_eq!(taken.phrase.length(), written.length());
    assert_eq!(struck(&taken.phrase), struck(&written));
}

#[test]
fn a_hand_off_the_hosts_tempo_plays_the_same_phrase_however_often() {
    for percent in [-8.0, -5.0, -2.0, -0.7, 0.7, 2.0, 5.0, 8.0] {
        for times in 2..=6 {
            let slow = 1.0 + percent / 100.0;
            let hand = Player::begins_at(7.3).slow(slow).plays_times(FOUR, times);
            let taken = hand.holds_at_rest();
            assert_taken(&taken, FOUR);
            assert!((taken.pace - 1.0 / slow).abs() < 1e-6, "{}", taken.pace);
        }
    }
}

#[test]
fn at_rest_it_goes_on_at_the_players_own_seam() {
    let twice = || Player::begins_at(7.3).slow(1.02).plays_times(FOUR, 2);
    let seam = 7.3 + 2.0 * 4.08;
    let origin = |later| {
        twice()
            .holds(later, None, &CaptureSettings::default())
            .origin
    };
    // Pressed with the last note, it waits.
    assert!((origin(-0.4) - seam).abs() < 1e-6);
    // Pressed on the seam, or a little early or late.
    for later in [-0.1, 0.0] {
        assert!((origin(later) - seam).abs() < 1e-6);
    }
    // A beat into the third pass: the phrase is a beat old.
    let now = seam + 1.02;
    assert!((now - origin(1.02) - 1.0).abs() < 1e-6);
    // A whole phrase later nobody counts on.
    assert!((origin(4.5) - (seam + 4.5)).abs() < 1e-6);
}

#[test]
fn the_third_pass_may_be_broken_off() {
    for (rest, beats) in [("D4", 0.25), ("D4 . F4 G4 . A4", 1.5)] {
        let hand = Player::begins_at(2.2).slow(0.96).plays_times(FOUR, 2);
        let taken = hand.plays(rest).holds_at_rest();
        assert_taken(&taken, FOUR);
        let seam = 2.2 + 8.0 * 0.96;
        let now = seam + beats * 0.96;
        assert!((now - taken.origin - beats).abs() < 1e-6);
    }
}

#[test]
fn what_is_not_snapped_keeps_the_hands_own_timing_at_the_hosts_tempo() {
    let loose = CaptureSettings {
        snap: 0.0,
        ..CaptureSettings::default()
    };
    let hand = Player::begins_at(0.0)
        .slow(1.05)
        .swaying(0.01, 4)
        .plays_times(FOUR, 3);
    let last = hand.strokes.len() - 9..;
    let played: Vec<Beats> = hand.strokes[last].iter().map(|(on, ..)| *on).collect();
    let taken = hand.holds(0.0, None, &loose);
    let onsets: Vec<Beats> = taken.phrase.notes().iter().map(|note| note.onset).collect();
    assert_eq!(onsets.len(), 9);
    for (a, b) in onsets.windows(2).zip(played.windows(2)) {
        let played = (b[1] - b[0]) / 1.05;
        assert!((a[1] - a[0] - played).abs() < 0.01, "{a:?} {b:?}");
    }
}

#[test]
fn what_is_played_once_at_rest_is_read_in_the_hands_own_tempo_too() {
    let once = format!("{FOUR} A4 . . G4 . E4 D4 . G4 . A4 . C5 . E5 .");
    for (percent, seed) in [
        (-7.0, 1),
        (-4.0, 2),
        (-1.5, 3),
        (0.0, 4),
        (1.5, 5),
        (4.0, 6),
        (7.0, 7),
    ] {
        let hand = Player::begins_at(2.7)
            .slow(1.0 + percent / 100.0)
            .swaying(0.02, seed);
        let taken = hand.plays(&once).holds_at_rest();
        let written = Phrase::from_text(&once, SIXTEENTH).unwrap();
        assert_eq!((taken.repeats, taken.phrase.length()), (false, 8.0));
        assert_eq!(struck(&taken.phrase), struck(&written), "{percent}");
    }
}

#[test]
fn a_fixed_length_at_rest_is_counted_in_the_players_own_steps() {
    let fixed = CaptureSettings {
        length: Some(16),
        ..CaptureSettings::default()
    };
    let hand = Player::begins_at(3.0).slow(1.04).plays_times(FOUR, 4);
    let taken = hand.holds(0.0, None, &fixed);
    assert_eq!(
        struck(&taken.phrase),
        struck(&Phrase::from_text(FOUR, SIXTEENTH).unwrap())
    );
}

#[test]
fn a_pick_up_and_noodling_are_no_part_of_what_comes_again() {
    let noodled = [
        "B4",
        "Bb3 C4",
        "B3 . C4 E4 . B4 . . C5 B4",
        "E4 E4 . . B3 . Bb4 B4 E4 . . . B4 . ",
    ];
    for before in noodled {
        for slow in [1.0, 1.03, 0.95] {
            let hand = || {
                Player::begins_at(16.5)
                    .slow(slow)
                    .plays(before)
                    .plays_times(FOUR, 3)
            };
            assert_taken(&hand().holds_at_rest(), FOUR);
            // Hold with the last note, and in the fourth pass.
            let early = hand().holds(-0.3, None, &CaptureSettings::default());
            assert_taken(&early, FOUR);
            assert_taken(&hand().plays("D4 . F4").holds_at_rest(), FOUR);
        }
        let hand = Player::begins_at(16.5).plays(before).plays_times(FOUR, 3);
        assert_taken(&hand.holds_in_song(), FOUR);
    }
}

/// With a wrong key, a missing and an extra one.
const STRAYED: [&str; 5] = [
    "D4 . F4 G4 . B4 C5 . A4 . G4 . E4 . F4 .",
    "D4 . F4 G4 . A4 C5 . . . G4 . E4 . F4 .",
    "D4 . F4 G4 . A4 C5 . A4 . G4 Bb3 E4 . F4 .",
    "Bb3 . F4 G4 . A4 C5 . A4 . G4 . E4 . F4 .",
    "D4 . F4 G4 . A4 C5 . A4 . G4 . E4 . B3 .",
];

#[test]
fn one_stray_note_in_one_of_three_passes_or_more_is_outvoted() {
    for strayed in STRAYED {
        for passes in 3..=5 {
            for wrong in 0..passes {
                let hand = Player::begins_at(5.0).slow(1.02).swaying(0.01, 9);
                let hand = (0..passes).fold(hand, |hand, pass| {
                    hand.plays(if pass == wrong { strayed } else { FOUR })
                });
                assert_taken(&hand.holds_at_rest(), FOUR);
            }
        }
    }
}

#[test]
fn of_two_passes_that_differ_neither_is_outvoted() {
    let taken = Player::begins_at(5.0)
        .plays(FOUR)
        .plays(STRAYED[0])
        .holds_at_rest();
    assert_eq!((taken.repeats, taken.phrase.length()), (false, 8.0));
}

#[test]
fn two_halves_that_differ_by_a_note_are_one_phrase_if_both_come_again() {
    let both = format!("{FOUR} {}", STRAYED[0]);
    assert_taken(
        &Player::begins_at(5.0).plays_times(&both, 2).holds_at_rest(),
        &both,
    );
}

#[test]
fn a_melody_that_ends_on_a_repeated_note_or_figure_is_whole() {
    for melody in ["D4 . F4 . G4 . C5 . C5 . C5 .", "D4 F4 G4 A4 C5 A4 C5 A4"] {
        let taken = Player::begins_at(0.0).plays(melody).holds_at_rest();
        assert!(!taken.repeats, "{melody}");
        assert_eq!(taken.phrase.notes()[0].key.number(), 62);
    }
}

#[test]
fn a_rhythm_on_one_key_is_told_by_its_time_alone() {
    let rhythm = "D4 D4 . D4 . D4 D4 . . D4 . .";
    for percent in [-6.0, 0.0, 6.0] {
        let hand = Player::begins_at(1.0)
            .slow(1.0 + percent / 100.0)
            .swaying(0.015, 3);
        assert_taken(&hand.plays_times(rhythm, 4).holds_at_rest(), rhythm);
    }
}

#[test]
fn chords_are_struck_by_hand() {
    let chords = "D4+F4+A4 . . C4+E4+G4 . . A3+C4+E4 .";
    for seed in 0..20 {
        let hand = Player::begins_at(1.0).slow(1.03).swaying(0.01, seed);
        assert_taken(&hand.plays_times(chords, 3).holds_at_rest(), chords);
    }
}

#[test]
fn triplets_and_a_figure_faster_than_the_grid_are_found_too() {
    let triplets = CaptureSettings {
        grid: Grid::EighthTriplet,
        ..CaptureSettings::default()
    };
    let text = "D4 F4 A4 C5 . G4";
    let hand = (0..4).fold(Player::begins_at(2.0).slow(1.04), |hand, _| {
        hand.plays_on(text, 1.0 / 3.0)
    });
    let taken = hand.holds(0.0, None, &triplets);
    assert!((taken.phrase.length() - 2.0).abs() < 1e-9);
    assert_eq!(
        struck(&taken.phrase),
        struck(&Phrase::from_text(text, 1.0 / 3.0).unwrap())
    );

    // Three to a beat on a grid of four: together they last a beat.
    let hand = (0..12).fold(Player::begins_at(2.0), |hand, _| {
        hand.plays_on("D4", 1.0 / 3.0)
    });
    let taken = hand.holds_in_song();
    assert_eq!(
        (taken.phrase.length(), taken.phrase.notes().len()),
        (1.0, 3)
    );
}

#[test]
fn with_the_song_a_swaying_hand_stays_on_the_songs_lines() {
    for seed in 0..20 {
        let hand = Player::begins_at(8.0)
            .swaying(0.025, seed)
            .plays_times(FOUR, 3);
        let taken = hand.holds_in_song();
        assert_taken(&taken, FOUR);
        assert_eq!((taken.origin, taken.pace), (20.0, 1.0));
    }
}

#[test]
fn a_hand_that_is_not_with_the_song_comes_in_on_its_lines() {
    let taken = Player::begins_at(8.1)
        .slow(1.05)
        .plays_times(FOUR, 3)
        .holds_in_song();
    assert_taken(&taken, FOUR);
    let seam = 8.1 + 3.0 * 4.2;
    assert_eq!(taken.origin / SIXTEENTH, (taken.origin / SIXTEENTH).round());
    assert!(
        (taken.origin - seam).abs() <= 0.125 + 1e-9,
        "{}",
        taken.origin
    );
}

/// The longest phrases there are, twice, by a slow hand, and hold comes late.
#[test]
fn a_hundred_and_twenty_eight_steps_played_twice_are_remembered() {
    let words = |step: usize| ["D4", "F4", "G4", "A4", "C5", "E4"][step * step * 7 % 11 % 6];
    let text: Vec<&str> = (0..128).map(words).collect();
    let text = text.join(" ");
    for (grid, slow, song) in [
        (Grid::Sixteenth, 1.0, Some(0.0)),
        (Grid::Sixteenth, 1.06, None),
        (Grid::Quarter, 1.0, Some(0.0)),
        (Grid::Quarter, 1.06, None),
    ] {
        let hand = Player::begins_at(4.0).slow(slow);
        let hand = hand
            .plays_on(&text, grid.beats())
            .plays_on(&text, grid.beats());
        let settings = CaptureSettings {
            grid,
            ..CaptureSettings::default()
        };
        let taken = hand.holds(3.0, song, &settings);
        assert!(taken.repeats, "{grid:?} {slow}");
        assert_eq!(taken.phrase.length(), 128.0 * grid.beats());
        assert_eq!(taken.phrase.notes().len(), 128);
    }
}

#[test]
fn an_odd_bar_played_once_is_that_bar() {
    let seven = "D4 . F4 . G4 . A4 . C5 . A4 . E4";
    let taken = Player::begins_at(7.0)
        .counting(7, 8, Some(0.0))
        .plays(seven)
        .holds_in_song();
    assert_eq!((taken.phrase.length(), taken.origin), (3.5, 10.5));
    let five = "D4 . F4 . G4 . A4 . C5";
    let taken = Player::begins_at(5.0)
        .counting(5, 8, Some(0.0))
        .plays(five)
        .holds_in_song();
    assert_eq!(taken.phrase.length(), 2.5);
    let bar = taken.phrase.bar().unwrap();
    assert_eq!((bar.metre, bar.begins), (Metre::new(5, 8).unwrap(), 0.0));
    assert_eq!(taken.phrase.pick_up(), 0.0);
    // More than a bar is whole bars.
    let more = Player::begins_at(0.0)
        .counting(3, 4, Some(0.0))
        .plays_on("D4 F4 G4 A4", 1.0);
    assert_eq!(more.holds_in_song().phrase.length(), 6.0);
}

#[test]
fn a_bar_with_rests_at_both_ends_is_a_bar() {
    let bar = ". D4 F4 .";
    let hand = || {
        Player::begins_at(8.0)
            .counting(4, 4, Some(0.0))
            .plays_on(bar, 1.0)
    };
    let taken = hand().holds_in_song();
    assert_eq!((taken.phrase.length(), taken.origin), (4.0, 12.0));
    let onsets: Vec<Beats> = taken.phrase.notes().iter().map(|note| note.onset).collect();
    assert_eq!(onsets, [1.0, 2.0]);
    // Before the bar is over, it is what was played.
    let early = hand().holds(-1.0, Some(0.0), &CaptureSettings::default());
    assert_eq!(early.phrase.length(), 2.0);
}

#[test]
fn a_rest_of_the_hosts_bar_ends_a_passage() {
    let played = |count, unit| {
        let hand = Player::begins_at(3.0)
            .counting(count, unit, Some(0.0))
            .plays("B3 . E4 .");
        // Nothing sounds for three and a quarter beats.
        let hand = hand.plays(". . . . . . . . . . . .").plays("D4 F4 G4 A4");
        struck(&hand.holds_in_song().phrase).len()
    };
    assert_eq!(played(3, 4), 4);
    assert_eq!(played(4, 4), 6);
    // A bar of an eighth does not end one at every breath.
    assert_eq!(played(1, 8), 4);
    let breath = Player::begins_at(3.0)
        .counting(1, 8, Some(0.0))
        .plays("B3 . . . D4 . . .");
    assert_eq!(breath.holds_in_song().phrase.notes().len(), 2);
}

#[test]
fn a_phrase_begun_with_a_pick_up_knows_where_its_bar_begins() {
    let hand = Player::begins_at(15.5).counting(4, 4, Some(0.0));
    let phrase = "E4 F4 G4 . A4 . C5 . A4 . G4 . E4 . D4 .";
    let taken = hand.plays_times(phrase, 2).holds_in_song();
    assert_taken(&taken, phrase);
    assert_eq!(taken.phrase.bar().map(|bar| bar.begins), Some(0.5));
    assert_eq!(taken.phrase.pick_up(), 0.5);
    // Begun on the second beat, it leads to nothing.
    let hand = Player::begins_at(17.0).counting(4, 4, Some(0.0));
    let late = hand.plays_times(phrase, 2).holds_in_song().phrase;
    assert_eq!(late.bar().map(|bar| bar.begins), Some(3.0));
    assert_eq!(late.pick_up(), 0.0);
    // At rest, nothing tells: the phrase begins with its bar, if it lasts whole ones.
    let at_rest = Player::begins_at(15.5)
        .counting(4, 4, None)
        .plays_times(phrase, 2);
    assert_eq!(
        at_rest.holds_at_rest().phrase.bar().map(|bar| bar.begins),
        Some(0.0)
    );
    let twelve = "E4 F4 G4 . A4 . C5 . A4 . G4 .";
    let at_rest = Player::begins_at(15.5)
        .counting(4, 4, None)
        .plays_times(twelve, 2);
    assert_eq!(at_rest.holds_at_rest().phrase.bar(), None);
}

/// A phrase of whole beats, of several keys, that is no smaller one twice.
fn phrase() -> impl Strategy<Value = String> {
    let words = ["D4", "E4", "F4", "G4", "A4", "C5", ".", "."];
    let word = proptest::sample::select(words.to_vec());
    let beats = proptest::sample::select(vec![2_usize, 3, 4, 5, 8]);
    let steps = beats.prop_flat_map(move |beats| {
        proptest::collection::vec(word.clone(), 4 * beats - 1..4 * beats)
    });
    // Begun on a key that does not come again, so that it has one beginning only.
    let text = steps.prop_map(|words| format!("Bb3 {}", words.join(" ")));
    text.prop_filter("a bar's rest would begin another passage", |text| {
        let notes = Phrase::from_text(text, SIXTEENTH).unwrap();
        let onsets: Vec<Beats> = notes.notes().iter().map(|note| note.onset).collect();
        let ends = [notes.length() + onsets[0]];
        let rest = |pair: &[Beats]| pair[1] - pair[0] < 2.5;
        let all: Vec<Beats> = onsets.iter().copied().chain(ends).collect();
        onsets.len() >= 4 && all.windows(2).all(rest)
    })
}

fn noodling() -> impl Strategy<Value = String> {
    // Keys of its own: what it shares with the phrase by chance is nobody's to tell.
    let words = ["B3", "C#4", "Eb4", "G#4", "."];
    let word = proptest::sample::select(words.to_vec());
    proptest::collection::vec(word, 1..=40).prop_map(|words| words.join(" "))
}

/// Beats of sway within which no chance may mislead: 8 ms at 120 beats a minute, and no stroke more
/// than three times that off.
const EVEN: Beats = 0.016;

/// A hand of 12 ms: once in thousands two strokes of it are so far apart that they are no longer
/// taken for the same one.
const SWAYING: Beats = 0.024;

#[test]
fn of_five_hundred_hands_that_sway_hardly_one_is_misread() {
    let found = |seed: u64| {
        let slow = 0.92 + 0.16 * (seed % 17) as f64 / 16.0;
        let hand = Player::begins_at(3.21).slow(slow).swaying(SWAYING, seed);
        let passes = 2 + seed as usize % 5;
        let taken = hand.plays_times(FOUR, passes).holds_at_rest();
        let written = Phrase::from_text(FOUR, SIXTEENTH).unwrap();
        taken.repeats && struck(&taken.phrase) == struck(&written)
    };
    let count = (0..500).filter(|seed| found(*seed)).count();
    assert!(count >= 498, "{count} of 500");
}

proptest! {
    #[test]
    fn whatever_the_hand_the_phrase_is_found(
        phrase in phrase(),
        before in proptest::option::of(noodling()),
        percent in -8.0..=8.0_f64,
        passes in 2..=6_usize,
        seed in any::<u64>(),
        later in -0.1..=0.1_f64,
    ) {
        let hand = Player::begins_at(3.21).slow(1.0 + percent / 100.0).swaying(EVEN, seed);
        let hand = match &before {
            Some(before) => hand.plays(before),
            None => hand,
        };
        let hand = hand.plays_times(&phrase, passes);
        let due = hand.now;
        let taken = hand.holds(later, None, &CaptureSettings::default());
        let written = Phrase::from_text(&phrase, SIXTEENTH).unwrap();
        prop_assert!(taken.repeats);
        prop_assert_eq!(taken.phrase.length(), written.length());
        prop_assert_eq!(struck(&taken.phrase), struck(&written));
        prop_assert!((taken.origin - due).abs() < 0.12, "{} {due}", taken.origin);
        prop_assert!((taken.pace * (1.0 + percent / 100.0) - 1.0).abs() < 0.03);
    }

    #[test]
    fn with_the_song_it_lies_on_the_songs_lines(
        phrase in phrase(),
        before in proptest::option::of(noodling()),
        passes in 2..=6_usize,
        seed in any::<u64>(),
        start in 0..40_i32,
    ) {
        let hand = Player::begins_at(f64::from(start) * SIXTEENTH).swaying(EVEN, seed);
        let hand = match &before {
            Some(before) => hand.plays(before),
            None => hand,
        };
        let hand = hand.plays_times(&phrase, passes);
        let due = hand.now;
        let taken = hand.holds_in_song();
        let written = Phrase::from_text(&phrase, SIXTEENTH).unwrap();
        prop_assert!(taken.repeats);
        prop_assert_eq!(struck(&taken.phrase), struck(&written));
        prop_assert_eq!((taken.origin, taken.pace), (due, 1.0));
    }
}
