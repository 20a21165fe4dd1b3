use super::*;
use crate::settings::Grid;
use proptest::prelude::*;

const SIXTEENTH: Beats = 0.25;

fn key(number: u8) -> Key {
    Key::new(number).unwrap()
}

fn auto(grid: Grid) -> CaptureSettings {
    CaptureSettings {
        grid,
        length: None,
        snap: 1.0,
    }
}

fn fixed(steps: u32) -> CaptureSettings {
    CaptureSettings {
        length: Some(steps),
        ..CaptureSettings::default()
    }
}

/// A hand that plays written notes to a listener, each moved by `late(index)` beats.
struct Hand {
    listener: Listener,
    events: Vec<(Beats, bool, Key)>,
}

impl Hand {
    fn new() -> Self {
        Self {
            listener: Listener::new(),
            events: Vec::new(),
        }
    }

    /// Sixteenths from `start` on.
    fn plays(self, text: &str, start: Beats) -> Self {
        self.plays_late(text, start, |_| 0.0)
    }

    fn plays_late(mut self, text: &str, start: Beats, late: impl Fn(usize) -> Beats) -> Self {
        let written = Phrase::from_text(text, SIXTEENTH).unwrap();
        for (index, note) in written.notes().iter().enumerate() {
            let on = start + note.onset + late(index);
            // Let go a little before the written end, as hands do.
            let off = start + note.onset + note.length - 0.01 + late(index);
            self.events.push((on, true, note.key));
            self.events.push((off, false, note.key));
        }
        self
    }

    /// Presses hold at `now`; the song's beats are this clock's.
    fn holds(self, now: Beats, settings: &CaptureSettings) -> Option<Taken> {
        self.listener_at(now).take(now, Some(0.0), settings)
    }

    fn listener_at(mut self, now: Beats) -> Listener {
        self.events
            .sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        for (at, on, key) in self.events {
            match on {
                _ if at > now => (),
                true => self
                    .listener
                    .note_on(at, Channel::FIRST, key, Velocity::new(0.5)),
                false => self.listener.note_off(at, Some(Channel::FIRST), Some(key)),
            }
        }
        self.listener
    }
}

/// Onset in beats, key.
fn notes(taken: &Taken) -> Vec<(Beats, u8)> {
    taken
        .phrase
        .notes()
        .iter()
        .map(|note| (note.onset, note.key.number()))
        .collect()
}

fn written(text: &str) -> Vec<(Beats, u8)> {
    let written = Phrase::from_text(text, SIXTEENTH).unwrap();
    written
        .notes()
        .iter()
        .map(|note| (note.onset, note.key.number()))
        .collect()
}

#[test]
fn a_pattern_played_twice_and_a_bit_is_one_period_and_goes_on_at_the_seam() {
    // Five steps, from beat 8 on: sets at 8, 9.25, 10.5; hold in the middle of the third.
    let hand = Hand::new().plays("D4 F4 . A4 G4 D4 F4 . A4 G4 D4 F4", 8.0);
    let taken = hand.holds(10.95, &auto(Grid::Sixteenth)).unwrap();
    assert!(taken.repeats);
    assert_eq!(taken.phrase.length(), 1.25);
    assert_eq!(notes(&taken), written("D4 F4 . A4 G4"));
    assert_eq!(taken.origin, 10.5);
}

#[test]
fn hold_right_after_the_second_set_waits_for_its_rest_to_end() {
    // Sets of two beats at 0 and 2; the last half beat of each is a rest.
    let hand = Hand::new().plays("D4 - F4 - A4 - . . D4 - F4 - A4 - . .", 0.0);
    let taken = hand.holds(3.3, &auto(Grid::Sixteenth)).unwrap();
    assert_eq!((taken.phrase.length(), taken.origin), (2.0, 4.0));
}

#[test]
fn a_hand_up_to_half_a_step_early_or_late_is_on_time() {
    for now in [3.9, 4.0, 4.1] {
        let hand = Hand::new().plays("D4 - F4 - A4 - C5 - D4 - F4 - A4 - C5 -", 0.0);
        let taken = hand.holds(now, &auto(Grid::Sixteenth)).unwrap();
        assert_eq!(taken.origin, 4.0, "hold at {now}");
    }
}

#[test]
fn a_phrase_that_does_not_repeat_lasts_to_its_end_in_whole_beats() {
    let hand = Hand::new().plays("D4 F4 G4 A4 C5 A4 D5", 4.0);
    let taken = hand.holds(5.8, &auto(Grid::Sixteenth)).unwrap();
    assert!(!taken.repeats);
    assert_eq!(taken.phrase.length(), 2.0);
    assert_eq!(notes(&taken), written("D4 F4 G4 A4 C5 A4 D5"));
    assert_eq!(taken.origin, 6.0);
}

#[test]
fn hold_long_after_a_phrase_goes_on_at_the_last_seam() {
    let hand = Hand::new().plays("D4 F4 G4 A4 C5 A4 D5", 4.0);
    let taken = hand.holds(13.3, &auto(Grid::Sixteenth)).unwrap();
    assert_eq!((taken.phrase.length(), taken.origin), (2.0, 12.0));
}

#[test]
fn what_was_played_before_a_silence_of_a_bar_is_left_out() {
    // The first ends at 0.99.
    let early = Hand::new()
        .plays("E3 G3 B3 E4", 0.0)
        .plays("D4 F4 G4 A4", 5.0);
    let taken = early.holds(6.0, &auto(Grid::Sixteenth)).unwrap();
    assert_eq!(notes(&taken), written("D4 F4 G4 A4"));

    let too_soon = Hand::new()
        .plays("E3 G3 B3 E4", 0.0)
        .plays("D4 F4 G4 A4", 4.75);
    let taken = too_soon.holds(6.0, &auto(Grid::Sixteenth)).unwrap();
    assert_eq!(taken.phrase.notes().len(), 8);
}

#[test]
fn a_note_held_through_is_no_silence() {
    let mut listener = Listener::new();
    let soft = Velocity::new(0.3);
    listener.note_on(0.0, Channel::FIRST, key(38), soft);
    listener.note_on(6.0, Channel::FIRST, key(62), soft);
    let taken = listener
        .take(7.0, Some(0.0), &auto(Grid::Sixteenth))
        .unwrap();
    assert_eq!(notes(&taken), [(0.0, 38), (6.0, 62)]);
    assert_eq!(taken.phrase.length(), 7.0);
}

#[test]
fn a_fixed_length_takes_the_last_steps_on_the_grid() {
    let hand = Hand::new().plays("D4 F4 G4 A4 C5 A4 D5 E5", 0.0);
    let taken = hand.holds(2.06, &fixed(5)).unwrap();
    assert_eq!(notes(&taken), written("A4 C5 A4 D5 E5"));
    assert_eq!((taken.phrase.length(), taken.origin), (1.25, 2.0));
}

#[test]
fn a_fixed_length_out_of_range_is_the_nearest_that_is_in_it() {
    for (asked, steps) in [(0, 1.0), (129, 128.0), (u32::MAX, 128.0)] {
        let hand = Hand::new().plays("D4 F4 G4 A4", 0.0);
        let taken = hand.holds(1.0, &fixed(asked)).unwrap();
        assert_eq!(taken.phrase.length(), steps * SIXTEENTH, "{asked}");
    }
}

#[test]
fn a_note_of_the_next_step_is_not_in_the_fixed_length() {
    let hand = Hand::new().plays("D4 F4 G4 A4 C5", 0.0);
    let taken = hand.holds(1.1, &fixed(4)).unwrap();
    assert_eq!(notes(&taken), written("D4 F4 G4 A4"));
    assert_eq!(taken.origin, 1.0);
}

#[test]
fn a_note_a_little_before_the_fixed_length_begins_with_it() {
    let hand = Hand::new().plays_late("D4 F4 G4 A4", 1.0, |_| -0.1);
    let unsnapped = CaptureSettings {
        snap: 0.0,
        ..fixed(4)
    };
    let taken = hand.holds(2.0, &unsnapped).unwrap();
    let onsets: Vec<_> = taken.phrase.notes().iter().map(|note| note.onset).collect();
    assert_eq!(onsets.len(), 4);
    for (onset, expected) in onsets.iter().zip([0.0, 0.15, 0.4, 0.65]) {
        assert!((onset - expected).abs() < 1e-9, "{onset}");
    }
}

#[test]
fn snap_pulls_onsets_part_of_the_way_and_ends_come_along() {
    for (snap, onset) in [
        (0.0, 0.35),
        (0.5, 0.3),
        (1.0, 0.25),
        (f64::NAN, 0.25),
        (7.0, 0.25),
    ] {
        let late = |index| if index == 1 { 0.1 } else { 0.0 };
        let hand = Hand::new().plays_late("D4 F4 . .", 0.0, late);
        let settings = CaptureSettings {
            snap,
            ..auto(Grid::Sixteenth)
        };
        let taken = hand.holds(1.0, &settings).unwrap();
        let second = taken.phrase.notes()[1];
        assert!(
            (second.onset - onset).abs() < 1e-9,
            "snap {snap}: {second:?}"
        );
        assert!((second.length - 0.24).abs() < 1e-9);
    }
}

#[test]
fn a_loose_hand_is_still_heard_to_repeat() {
    let sway = |index: usize| [0.05, -0.08, 0.02, 0.11, -0.03][index % 5];
    let hand = Hand::new().plays_late("D4 F4 G4 D4 F4 G4 D4 F4 G4", 2.0, sway);
    let taken = hand.holds(4.25, &auto(Grid::Sixteenth)).unwrap();
    assert!(taken.repeats);
    assert_eq!(notes(&taken), written("D4 F4 G4"));
    assert_eq!(taken.origin, 4.25);
}

#[test]
fn chords_repeat_as_wholes() {
    let chords = Hand::new().plays("D4+F4 G4 D4+F4 G4", 0.0);
    let taken = chords.holds(1.0, &auto(Grid::Sixteenth)).unwrap();
    assert_eq!(notes(&taken), written("D4+F4 G4"));
    let changing = Hand::new().plays("D4+F4 G4 D4+A4 G4", 0.0);
    assert!(!changing.holds(1.0, &auto(Grid::Sixteenth)).unwrap().repeats);
}

#[test]
fn one_and_a_half_times_is_no_repetition() {
    let hand = Hand::new().plays("D4 F4 G4 A4 D4 F4", 0.0);
    let taken = hand.holds(1.5, &auto(Grid::Sixteenth)).unwrap();
    assert!(!taken.repeats);
    assert_eq!(taken.phrase.length(), 2.0);
}

#[test]
fn triplets_repeat_on_a_triplet_grid() {
    let mut listener = Listener::new();
    for index in 0..6_u32 {
        let at = 10.0 + f64::from(index) / 3.0;
        let number = [62, 65, 69][index as usize % 3];
        listener.note_on(at, Channel::FIRST, key(number), Velocity::new(0.5));
        listener.note_off(at + 0.3, Some(Channel::FIRST), Some(key(number)));
    }
    let taken = listener
        .take(12.0, Some(0.0), &auto(Grid::EighthTriplet))
        .unwrap();
    assert!(taken.repeats);
    assert!((taken.phrase.length() - 1.0).abs() < 1e-12);
    assert!((taken.origin - 12.0).abs() < 1e-12);
}

#[test]
fn a_pattern_played_for_longer_than_is_remembered_keeps_its_downbeat() {
    // Three beats, forty times: 120 beats, of which 64 are remembered, from beat 59.75 on.
    let many = "D4 - F4 - G4 - A4 - C5 - A4 - ".repeat(40);
    let hand = Hand::new().plays(&many, 3.0);
    let taken = hand.holds(123.0, &auto(Grid::Sixteenth)).unwrap();
    assert_eq!(notes(&taken), written("D4 - F4 - G4 - A4 - C5 - A4 -"));
    assert_eq!(taken.origin, 123.0);
}

#[test]
fn without_a_song_the_first_note_is_on_the_grid() {
    let hand = Hand::new().plays("D4 F4 G4 D4 F4 G4", 7.13);
    let taken = hand
        .listener_at(8.6)
        .take(8.6, None, &auto(Grid::Sixteenth))
        .unwrap();
    assert_eq!(notes(&taken), written("D4 F4 G4"));
    assert!((taken.origin - (7.13 + 1.5)).abs() < 1e-9);
}

#[test]
fn a_key_struck_again_ends_its_earlier_note_and_one_still_down_ends_with_the_phrase() {
    let mut listener = Listener::new();
    listener.note_on(0.0, Channel::FIRST, key(60), Velocity::new(0.25));
    listener.note_on(0.5, Channel::FIRST, key(60), Velocity::new(0.75));
    listener.note_on(1.25, Channel::FIRST, key(64), Velocity::new(0.5));
    let taken = listener
        .take(1.5, Some(0.0), &auto(Grid::Sixteenth))
        .unwrap();
    assert_eq!(taken.phrase.length(), 2.0);
    let lengths: Vec<_> = taken
        .phrase
        .notes()
        .iter()
        .map(|note| note.length)
        .collect();
    assert_eq!(lengths, [0.5, 1.5, 0.75]);
    let velocities: Vec<_> = taken
        .phrase
        .notes()
        .iter()
        .map(|n| n.velocity.value())
        .collect();
    assert_eq!(velocities, [0.25, 0.75, 0.5]);
}

#[test]
fn an_end_for_any_channel_or_key_ends_all_it_may_mean() {
    let mut listener = Listener::new();
    let second = Channel::new(1).unwrap();
    for (channel, number) in [(Channel::FIRST, 60), (Channel::FIRST, 64), (second, 67)] {
        listener.note_on(0.0, channel, key(number), Velocity::new(0.5));
    }
    listener.note_off(0.25, Some(Channel::FIRST), None);
    listener.note_off(0.5, None, None);
    listener.note_off(0.75, None, Some(key(60)));
    let taken = listener
        .take(1.0, Some(0.0), &auto(Grid::Sixteenth))
        .unwrap();
    let lengths: Vec<_> = taken
        .phrase
        .notes()
        .iter()
        .map(|note| note.length)
        .collect();
    assert_eq!(lengths, [0.25, 0.25, 0.5]);
}

#[test]
fn nothing_played_is_nothing_taken_and_what_was_taken_is_gone() {
    let mut listener = Listener::new();
    let settings = auto(Grid::Sixteenth);
    assert_eq!(listener.take(4.0, Some(0.0), &settings), None);
    listener.note_off(4.0, None, None);
    assert_eq!(listener.take(4.0, Some(0.0), &settings), None);
    listener.note_on(5.0, Channel::FIRST, key(60), Velocity::new(0.5));
    assert!(listener.take(5.5, Some(0.0), &settings).is_some());
    assert_eq!(listener.take(5.5, Some(0.0), &settings), None);
}

#[test]
fn a_fixed_length_in_which_nothing_was_played_takes_nothing_and_forgets_nothing() {
    let mut listener = Hand::new().plays("D4 F4", 0.0).listener_at(10.0);
    assert_eq!(listener.take(10.0, Some(0.0), &fixed(4)), None);
    assert!(listener.take(10.0, Some(0.0), &fixed(64)).is_some());
}

#[test]
fn what_is_forgotten_or_older_than_is_remembered_is_not_taken() {
    let settings = auto(Grid::Sixteenth);
    let mut listener = Hand::new().plays("D4 F4", 0.0).listener_at(1.0);
    listener.forget();
    assert_eq!(listener.take(1.0, Some(0.0), &settings), None);
    let mut listener = Hand::new().plays("D4 F4", 0.0).listener_at(1.0);
    listener.advance(64.1);
    let taken = listener.take(64.1, Some(0.0), &settings).unwrap();
    assert_eq!(
        notes(&taken),
        [(0.0, 65)],
        "the first is older than 64 beats"
    );
}

#[test]
fn time_that_goes_backwards_or_is_none_stands_still() {
    let mut listener = Listener::new();
    for (at, number) in [
        (1.0, 60),
        (f64::NAN, 62),
        (0.5, 64),
        (f64::INFINITY, 65),
        (1.25, 67),
    ] {
        listener.note_on(at, Channel::FIRST, key(number), Velocity::new(0.5));
    }
    let taken = listener
        .take(f64::NAN, Some(0.0), &auto(Grid::Sixteenth))
        .unwrap();
    assert_eq!(
        notes(&taken),
        [(0.0, 60), (0.0, 62), (0.0, 64), (0.0, 65), (0.25, 67)]
    );
}

#[test]
fn more_notes_than_a_phrase_holds_are_counted() {
    let mut listener = Listener::new();
    // Chords of ten on 60 steps, none like another.
    for step in 0..60_u8 {
        for finger in 0..10 {
            let at = f64::from(step) * SIXTEENTH;
            listener.note_on(
                at,
                Channel::FIRST,
                key(step + finger * 7),
                Velocity::new(0.5),
            );
        }
    }
    let taken = listener
        .take(15.0, Some(0.0), &auto(Grid::Sixteenth))
        .unwrap();
    assert_eq!(taken.phrase.notes().len(), MAX_NOTES);
    assert_eq!(taken.dropped, 600 - MAX_NOTES);
}

#[test]
fn when_full_the_oldest_note_makes_room() {
    let mut listener = Listener::new();
    let made_for = listener.heard.capacity();
    for index in 0..CAPACITY + 3 {
        let at = index as f64 * 0.02;
        listener.note_on(at, Channel::FIRST, key(60), Velocity::new(0.5));
        listener.note_off(at + 0.01, None, None);
    }
    assert_eq!(listener.heard.len(), CAPACITY);
    assert_eq!(listener.heard[0].on, 3.0 * 0.02);
    assert_eq!(listener.heard.capacity(), made_for);
}

/// What may come in, absurd times among it.
#[derive(Clone, Debug)]
enum Incoming {
    On(Beats, u8, u8, f32),
    Off(Beats, Option<u8>, Option<u8>),
    Passes(Beats),
    Holds(Beats, Option<Beats>, CaptureSettings),
}

fn time() -> impl Strategy<Value = Beats> {
    prop_oneof![
        30 => 0.0..80.0,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(f64::MAX),
        1 => Just(f64::MIN),
        1 => -1e10..1e10,
    ]
}

fn settings() -> impl Strategy<Value = CaptureSettings> {
    let grid = proptest::sample::select(Grid::ALL.to_vec());
    let length = proptest::option::of(prop_oneof![Just(0), 1..=128_u32, Just(u32::MAX)]);
    let snap = prop_oneof![0.0..=1.0, Just(f64::NAN), Just(-3.0), Just(f64::INFINITY)];
    (grid, length, snap).prop_map(|(grid, length, snap)| CaptureSettings { grid, length, snap })
}

fn incoming() -> impl Strategy<Value = Incoming> {
    use proptest::option::of;
    prop_oneof![
        8 => (time(), 0..16_u8, 0..128_u8, -0.5..1.5_f32)
            .prop_map(|(at, channel, key, velocity)| Incoming::On(at, channel, key, velocity)),
        6 => (time(), of(0..16_u8), of(0..128_u8))
            .prop_map(|(at, channel, key)| Incoming::Off(at, channel, key)),
        1 => time().prop_map(Incoming::Passes),
        1 => (time(), of(time()), settings())
            .prop_map(|(now, zero, settings)| Incoming::Holds(now, zero, settings)),
    ]
}

/// Makes most times of a stream go forward, so that more than its first moment counts.
fn in_order(mut stream: Vec<Incoming>) -> Vec<Incoming> {
    let at = |incoming: &Incoming| match incoming {
        Incoming::On(at, ..)
        | Incoming::Off(at, ..)
        | Incoming::Passes(at)
        | Incoming::Holds(at, ..) => *at,
    };
    stream.sort_by(|a, b| at(a).total_cmp(&at(b)));
    stream
}

fn assert_is_a_phrase(taken: &Taken, settings: &CaptureSettings) {
    let phrase = &taken.phrase;
    assert_eq!(
        Phrase::new(phrase.notes().to_vec(), phrase.length()).as_ref(),
        Ok(phrase)
    );
    assert!(!phrase.is_empty());
    assert!(taken.origin.is_finite());
    let steps = phrase.length() / settings.grid.beats();
    assert!((steps - steps.round()).abs() < 1e-9, "{steps} steps");
    for (index, note) in phrase.notes().iter().enumerate() {
        let again = phrase.notes()[index + 1..]
            .iter()
            .find(|later| later.key == note.key);
        let end = note.onset + note.length;
        assert!(
            again.is_none_or(|again| end <= again.onset + 1e-9),
            "{note:?} {again:?}"
        );
    }
}

fn listen(stream: &[Incoming]) {
    let mut listener = Listener::new();
    for told in stream {
        match told {
            Incoming::On(at, channel, key, velocity) => listener.note_on(
                *at,
                Channel::new(*channel).unwrap(),
                Key::new(*key).unwrap(),
                Velocity::new(*velocity),
            ),
            Incoming::Off(at, channel, key) => {
                listener.note_off(*at, channel.and_then(Channel::new), key.and_then(Key::new));
            }
            Incoming::Passes(to) => listener.advance(*to),
            Incoming::Holds(now, zero, settings) => {
                if let Some(taken) = listener.take(*now, *zero, settings) {
                    assert_is_a_phrase(&taken, settings);
                    assert_eq!(listener.take(*now, *zero, settings), None);
                }
            }
        }
    }
}

/// A figure of `steps` steps, some of them struck, the first always: step, key, velocity.
fn figure() -> impl Strategy<Value = (i64, Vec<(i64, u8, f32)>)> {
    (2..=24_i64).prop_flat_map(|steps| {
        let strokes = proptest::collection::btree_map(
            (1..steps, 40..80_u8),
            1..=127_u8,
            0..(steps as usize).min(12),
        );
        let first = (40..80_u8, 1..=127_u8);
        (Just(steps), first, strokes).prop_map(|(steps, (key, velocity), strokes)| {
            let strokes = strokes.into_iter().map(|((step, key), v)| (step, key, v));
            let all = std::iter::once((0, key, velocity)).chain(strokes);
            (
                steps,
                all.map(|(step, key, v)| (step, key, f32::from(v) / 127.0))
                    .collect(),
            )
        })
    })
}

/// The figure's strokes, `times` times, from line `start`.
fn strokes(
    figure: &(i64, Vec<(i64, u8, f32)>),
    times: i64,
    start: i64,
) -> impl Iterator<Item = (i64, u8, f32)> {
    (0..times).flat_map(move |time| {
        let at = start + time * figure.0;
        figure
            .1
            .iter()
            .map(move |(step, key, velocity)| (at + step, *key, *velocity))
    })
}

fn play(strokes: impl Iterator<Item = (i64, u8, f32)>, step: Beats) -> Listener {
    let mut listener = Listener::new();
    for (line, number, velocity) in strokes {
        let at = line as f64 * step;
        // Wherever the release falls, what is struck on the grid decides.
        listener.note_on(at, Channel::FIRST, key(number), Velocity::new(velocity));
        listener.note_off(at, Some(Channel::FIRST), Some(key(number)));
    }
    listener
}

/// Whether the figure, repeated, is silent for a bar somewhere, and so begins another passage.
fn rests_a_bar(figure: &(i64, Vec<(i64, u8, f32)>), step: Beats) -> bool {
    let onsets: Vec<_> = strokes(figure, 2, 0)
        .map(|(line, ..)| line as f64 * step)
        .collect();
    onsets.windows(2).any(|pair| pair[1] - pair[0] > 3.99)
}

/// By hand and slowly: the smallest period of a figure repeated for ever.
fn smallest_period(figure: &(i64, Vec<(i64, u8, f32)>)) -> i64 {
    let set = |step: i64| {
        let at = step.rem_euclid(figure.0);
        let mut keys: Vec<_> = figure
            .1
            .iter()
            .filter(|(s, ..)| *s == at)
            .map(|(_, key, _)| *key)
            .collect();
        keys.sort_unstable();
        keys
    };
    (1..=figure.0)
        .find(|p| figure.0 % p == 0 && (0..figure.0).all(|step| set(step) == set(step + p)))
        .unwrap()
}

proptest! {
    #[test]
    fn whatever_is_told_nothing_breaks(stream in proptest::collection::vec(incoming(), 0..200)) {
        listen(&stream);
        listen(&in_order(stream));
    }

    #[test]
    fn a_figure_played_twice_is_found_whenever_hold_comes(
        figure in figure(),
        grid in proptest::sample::select(Grid::ALL.to_vec()),
        start in 0..64_i64,
        later in 0.0..=1.0_f64,
    ) {
        let step = grid.beats();
        prop_assume!(!rests_a_bar(&figure, step));
        let mut listener = play(strokes(&figure, 2, start), step);
        let last = strokes(&figure, 2, start).last().unwrap().0 as f64 * step;
        let now = last + later * 4.0;
        let taken = listener.take(now, Some(0.0), &auto(grid)).unwrap();

        prop_assert!(taken.repeats);
        // Two sets may also be the beginning of a shorter figure that is broken off: what is
        // found never is longer, and what was played goes on in it.
        let period = (taken.phrase.length() / step).round() as i64;
        prop_assert!(period <= smallest_period(&figure));
        let begins = start as f64 * step;
        let passes = (taken.origin - begins) / taken.phrase.length();
        prop_assert!((passes - passes.round()).abs() < 1e-6, "{passes}");
        // The seam is where the second set ends, or one that has gone by.
        let seam = begins + 2.0 * figure.0 as f64 * step;
        prop_assert!(taken.origin <= seam.max(now + step / 2.0) + 1e-9);
        prop_assert!(taken.origin > now - taken.phrase.length() - step);
        for (line, number, _) in strokes(&figure, 2, start) {
            let at = ((line - start).rem_euclid(period)) as f64 * step;
            let played = taken.phrase.notes().iter()
                .any(|note| (note.onset - at).abs() < 1e-9 && note.key.number() == number);
            prop_assert!(played, "key {number} at {at} is missing");
        }
    }

    #[test]
    fn a_figure_played_four_times_has_its_own_period(
        figure in figure(),
        start in 0..64_i64,
    ) {
        let step = 0.25;
        prop_assume!(!rests_a_bar(&figure, step));
        let mut listener = play(strokes(&figure, 4, start), step);
        let now = (start + 4 * figure.0) as f64 * step;
        let taken = listener.take(now, Some(0.0), &auto(Grid::Sixteenth)).unwrap();
        let period = (taken.phrase.length() / step).round() as i64;
        prop_assert_eq!(period, smallest_period(&figure));
        prop_assert_eq!(taken.origin, now);
        // The last set: its velocities are those that were struck last.
        let mut last: Vec<_> = strokes(&figure, 4, start)
            .filter(|(line, ..)| *line >= start + 4 * figure.0 - period)
            .map(|(line, key, velocity)| (line - (start + 4 * figure.0 - period), key, velocity))
            .collect();
        last.sort_by_key(|(line, key, _)| (*line, *key));
        let heard: Vec<_> = taken.phrase.notes().iter()
            .map(|n| ((n.onset / step).round() as i64, n.key.number(), n.velocity.value()))
            .collect();
        prop_assert_eq!(heard, last);
    }

    #[test]
    fn any_passage_keeps_its_velocities_and_goes_on_in_time(
        figure in figure(),
        start in 0..64_i64,
        later in 0.0..4.0_f64,
    ) {
        prop_assume!(!rests_a_bar(&figure, 0.25));
        let mut listener = play(strokes(&figure, 1, start), 0.25);
        let last = strokes(&figure, 1, start).last().unwrap().0 as f64 * 0.25;
        let taken = listener.take(last + later, Some(0.0), &auto(Grid::Sixteenth)).unwrap();
        let begins = start as f64 * 0.25;
        let passes = (taken.origin - begins) / taken.phrase.length();
        prop_assert_eq!(passes, passes.round());
        prop_assert!(passes >= 1.0);
        for (line, number, velocity) in strokes(&figure, 1, start) {
            if taken.repeats { continue; }
            let at = (line - start) as f64 * 0.25;
            let kept = taken.phrase.notes().iter()
                .find(|note| note.onset == at && note.key.number() == number).unwrap();
            prop_assert_eq!(kept.velocity.value(), velocity);
        }
    }
}
