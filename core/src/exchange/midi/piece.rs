//! A piece as MIDI: a track a voice, the stages as markers.

use super::{Score, Track, TrackNote};
use crate::exchange::Piece;
use crate::part::Part;
use crate::player::{channel_of, pan_of};
use crate::time::Beats;
use crate::touch::Touch;
use crate::words::stage_words;

impl Score {
    /// A piece, from its origin on, so that the file begins with the music.
    pub fn of(piece: &Piece) -> Self {
        let origin = piece.process().origin();
        let stages = piece.form.stages.iter().map(|stage| {
            let words = stage_words(stage, piece.process());
            (stage.span.start - origin, words)
        });
        let until = piece.performance.until();
        let performed = until.map(|until| {
            let words = format!("performed up to here, {}", piece.goes_on_words());
            (until - origin, words)
        });
        let mut markers: Vec<_> = performed.into_iter().chain(stages).collect();
        markers.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self {
            name: piece.title.to_owned(),
            tempo: piece.tempo_steps(),
            metre: metres(piece),
            markers,
            tracks: piece
                .performance
                .parts()
                .map(|part| track(piece, part))
                .collect(),
        }
    }
}

fn track(piece: &Piece, part: Part) -> Track {
    let process = piece.process();
    let (origin, output) = (process.origin(), &process.settings().output);
    let voices = 1 + piece.performance.copies().len();
    let touch = Touch::of(process);
    let written = piece.notes.iter().filter(|note| note.part == part);
    let notes = written.map(|note| touch.play(*note));
    Track {
        name: part.to_string(),
        channel: channel_of(part, output),
        program: Some(process.settings().program(part).on_the_wire()),
        // On one channel all voices stand in one place.
        pan: (!output.all_on_one).then(|| pan_of(part, voices, output.width)),
        notes: notes
            .map(|note| TrackNote {
                on: note.on - origin,
                off: note.off - origin,
                key: note.key,
                velocity: note.velocity,
            })
            .collect(),
    }
}

/// The metre of the piece; a pick-up is a short bar before the others, so that bar lines are where the
/// phrase has them.
fn metres(piece: &Piece) -> Vec<(Beats, (u8, u8))> {
    let pick_up = piece.process().phrase().pick_up();
    let bars = (pick_up, metre(piece.beats_per_bar));
    match pick_up > 0.0 {
        true => vec![(0.0, metre(pick_up)), bars],
        false => vec![bars],
    }
}

/// Quarters in a bar as a metre: 4 is 4/4, 3.5 is 7/8. What no metre is goes to the nearest
/// number of quarters.
fn metre(quarters: f64) -> (u8, u8) {
    let fits = |unit: u8| {
        let beats = quarters * f64::from(unit) / 4.0;
        let whole = (beats - beats.round()).abs() < 1e-6 && (1.0..=255.0).contains(&beats);
        whole.then_some((beats.round() as u8, unit))
    };
    [4, 8, 16, 32]
        .into_iter()
        .find_map(fits)
        .unwrap_or((quarters.round().clamp(1.0, 255.0) as u8, 4))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exchange::Unrolled;
    use crate::metre::Metre;
    use crate::phrase::{Bar, Phrase};
    use crate::process::Process;
    use crate::settings::{Resulting, Settings};

    fn ferry(adjust: impl FnOnce(&mut Settings)) -> Score {
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E5", 0.25).unwrap();
        let mut settings = Settings::default();
        adjust(&mut settings);
        let unrolled = Unrolled::new(Process::new(phrase, settings, 16.0), 108.0, 3.0);
        Score::of(&unrolled.piece("Ferry"))
    }

    #[test]
    fn a_piece_begins_at_the_beginning_of_its_file_with_a_track_a_voice() {
        let score = ferry(|settings| settings.output.width = 1.0);
        let names: Vec<_> = score.tracks.iter().map(|t| t.name.as_str()).collect();
        assert_eq!(names, ["Steady", "Copy 1"]);
        let channels: Vec<_> = score.tracks.iter().map(|t| t.channel.number()).collect();
        assert_eq!(channels, [0, 1]);
        assert_eq!(score.tracks[0].pan.zip(score.tracks[1].pan), Some((1, 127)));
        assert_eq!(score.tracks[0].notes[0].on, 0.0);
        assert_eq!(score.tempo, [(0.0, 108.0)]);
        assert_eq!(score.metre, [(0.0, (3, 4))]);
    }

    #[test]
    fn a_pick_up_is_a_short_bar_before_the_others() {
        let phrase = Phrase::from_text("A4 | D4 - F4 . A4 G4", 0.5).unwrap();
        let bar = Bar::around(Metre::grouped([2, 2, 3], 8).unwrap(), 0.5);
        let process = Process::new(phrase.with_bar(Some(bar)), Settings::default(), 16.0);
        let unrolled = Unrolled::new(process, 108.0, 3.5);
        let score = Score::of(&unrolled.piece("Ferry"));
        assert_eq!(score.metre, [(0.0, (1, 8)), (0.5, (7, 8))]);
        assert_eq!(score.tracks[0].notes[0].on, 0.0);
        // It is read so, too.
        let bytes = crate::exchange::midi::write(&score).unwrap();
        let bars = crate::exchange::midi::Excerpt {
            part: Some(0),
            bars: Some(1..=2),
        };
        let read = crate::exchange::midi::read_phrase(&bytes, 0.25, &bars).unwrap();
        assert_eq!(
            read.phrase.bar().map(|bar| bar.begins),
            None,
            "a bar and an eighth"
        );
        let read = crate::exchange::midi::read_phrase(
            &bytes,
            0.25,
            &crate::exchange::midi::Excerpt {
                part: Some(0),
                bars: Some(1..=1),
            },
        );
        assert_eq!(
            read.unwrap()
                .phrase
                .bar()
                .map(|bar| bar.metre.to_string())
                .as_deref(),
            Some("2+2+3/8")
        );
    }

    #[test]
    fn every_stage_has_a_marker_that_says_what_happens() {
        // Locked for 8 cycles of 1.5 beats, then 4 of drift.
        let score = ferry(|_| ());
        let first: Vec<_> = score.markers[..3]
            .iter()
            .map(|(at, words)| (*at, words.as_str()))
            .collect();
        assert_eq!(
            first,
            [
                (0.0, "unison"),
                (12.0, "copy 1 drifts to 1 step ahead"),
                (18.0, "copy 1 stays 1 step ahead"),
            ]
        );
    }

    #[test]
    fn the_resulting_line_has_a_track_of_its_own_on_channel_11() {
        let score = ferry(|settings| settings.resulting.which = Resulting::Top);
        let line = &score.tracks[2];
        assert_eq!(
            (line.name.as_str(), line.channel.number()),
            ("Resulting line", 10)
        );
        assert_eq!(line.pan, Some(64));
        assert!(!line.notes.is_empty());
    }

    #[test]
    fn on_one_channel_no_voice_is_placed() {
        let score = ferry(|settings| settings.output.all_on_one = true);
        let all_left_alone = |t: &Track| t.pan.is_none() && t.channel.number() == 0;
        assert!(score.tracks.iter().all(all_left_alone));
    }

    #[test]
    fn a_bar_of_any_quarters_has_a_metre() {
        assert_eq!(metre(4.0), (4, 4));
        assert_eq!(metre(3.5), (7, 8));
        assert_eq!(metre(0.75), (3, 16));
        assert_eq!(metre(3.3), (3, 4));
        assert_eq!(metre(0.0), (1, 4));
        assert_eq!(metre(f64::INFINITY), (255, 4));
    }
}
