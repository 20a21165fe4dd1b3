//! The parameters as a musician thinks of them, and which of them matter now.

use crate::editor::seen::Seen;
use procession_core::settings::{
    Advance, FoldKind, Growth, MAX_COPIES, Motion, Resulting, Settings,
};

/// An option as the window writes it: a pitch with ♭ and ♯, where hosts, of which some have no
/// such letters, are told b and #.
pub fn written(name: &str) -> String {
    match name.as_bytes() {
        [b'A'..=b'G', b'b'] => format!("{}♭", &name[..1]),
        [b'A'..=b'G', b'#'] => format!("{}♯", &name[..1]),
        _ => name.to_owned(),
    }
}

/// Parameters that belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Group {
    /// As the window has it.
    pub name: &'static str,
    /// The parameters, by their ids, in the order of thinking.
    pub ids: &'static [&'static str],
}

/// In the order in which a piece is made. Hold stands in the header, what a copy has of its own in
/// [`COPY_IDS`].
pub const GROUPS: [Group; 7] = [
    Group {
        name: "Capture",
        ids: &["grid", "length", "snap", "thru", "listen_to"],
    },
    Group {
        name: "Begin",
        ids: &["begin_on", "count_in", "end_on"],
    },
    Group {
        name: "Copies",
        ids: &[
            "copies",
            "motion",
            "shift_by",
            "copies_move",
            "dwell",
            "drift",
            "shifts",
            "entry",
            "offset",
            "advance",
            "cue",
            "cue_key",
            "cue_controller",
        ],
    },
    Group {
        name: "Growth",
        ids: &[
            "growth",
            "growth_order",
            "growth_step",
            "growth_every",
            "copies_grow",
        ],
    },
    Group {
        name: "Fold",
        ids: &[
            "fold",
            "source_tonic",
            "source_mode",
            "target_tonic",
            "target_mode",
            "fold_amount",
        ],
    },
    Group {
        name: "Touch",
        ids: &["swing", "breathe_timing", "breathe_velocity", "accents"],
    },
    Group {
        name: "Output",
        ids: &[
            "steady_level",
            "steady_mute",
            "steady_solo",
            "steady_program",
            "steady_mallet",
            "width",
            "resulting",
            "resulting_level",
            "resulting_octave",
            "resulting_mallet",
            "audition",
            "voice_level",
            "voice_with",
            "send_tuning",
            "channels",
            "bypass",
        ],
    },
];

/// Place of the group "Copies" in [`GROUPS`].
pub const COPIES_GROUP: usize = 2;

/// The ids of what one copy has of its own.
macro_rules! of_copy {
    ($copy:literal, [$($own:literal),*]) => {
        [$(concat!("copy", $copy, "_", $own)),*]
    };
}

/// The same for copies 1 ..= 8.
macro_rules! of_each_copy {
    ($own:tt) => {
        [
            of_copy!(1, $own),
            of_copy!(2, $own),
            of_copy!(3, $own),
            of_copy!(4, $own),
            of_copy!(5, $own),
            of_copy!(6, $own),
            of_copy!(7, $own),
            of_copy!(8, $own),
        ]
    };
}

/// Where copies 1 ..= 8 stand, and how they are heard.
pub const COPY_IDS: [[&str; 3]; MAX_COPIES] = of_each_copy!(["offset", "level", "octave"]);

/// What copies 1 ..= 8 make of the phrase's pitches, and on what files have them played.
pub const PITCH_IDS: [[&str; 3]; MAX_COPIES] = of_each_copy!(["degrees", "semitones", "program"]);

/// How long copies 1 ..= 8 are, and what they are heard on.
pub const CYCLE_IDS: [[&str; 2]; MAX_COPIES] = of_each_copy!(["length", "mallet"]);

/// How copies 1 ..= 8 read the phrase, and whether they are heard.
pub const READING_IDS: [[&str; 4]; MAX_COPIES] =
    of_each_copy!(["mute", "solo", "backwards", "upside_down"]);

/// Whether a parameter has any effect in this moment. A form that is written goes by its list: what
/// would have generated it says nothing, and cues are awaited where the list has them.
pub fn matters_to(id: &str, seen: &Seen) -> bool {
    let is_written = seen.process.route().is_written();
    match id {
        "motion" | "shift_by" | "copies_move" | "shifts" | "dwell" | "drift" | "advance"
            if is_written =>
        {
            false
        }
        "cue" | "cue_key" | "cue_controller" if is_written => seen.process.voices().are_cued(),
        "voice_level" | "voice_with" | "send_tuning" => {
            let notes = seen.process.phrase().notes();
            notes.iter().any(|note| note.said.is_some())
        }
        _ => matters(id, seen.settings()),
    }
}

/// Whether a parameter makes a difference under these settings. One that does not can still be
/// changed; it only stands back.
pub fn matters(id: &str, settings: &Settings) -> bool {
    let motion = &settings.motion;
    let growth = &settings.growth;
    let grows = growth.growth != Growth::Off;
    let builds = motion.motion == Motion::BuildUp;
    match id {
        "motion" | "shift_by" | "dwell" | "shifts" | "offset" => motion.copies > 0,
        "copies_move" | "entry" => motion.copies > 1,
        "advance" | "resulting" => motion.copies > 0,
        "cue" | "cue_key" | "cue_controller" => {
            motion.copies > 0 && motion.advance == Advance::OnCue
        }
        "resulting_level" | "resulting_octave" | "resulting_mallet" => {
            motion.copies > 0 && settings.resulting.which != Resulting::Off
        }
        "drift" => motion.copies > 0 && motion.motion == Motion::Drift,
        "growth_step" | "growth_every" => grows || builds,
        "growth_order" => growth.growth == Growth::Fill || builds,
        "copies_grow" => grows && motion.copies > 0,
        "source_tonic" | "source_mode" => settings.fold.fold == FoldKind::ByDegree,
        "target_tonic" | "target_mode" | "fold_amount" => settings.fold.fold != FoldKind::Off,
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::DECLARATIONS;
    use std::collections::BTreeSet;

    #[test]
    fn pitches_are_written_with_signs_and_understood_so_by_the_parameter() {
        assert_eq!(["Eb", "F#", "B"].map(written), ["E♭", "F♯", "B"]);
        assert_eq!(written("Build up"), "Build up");
        let declarations = DECLARATIONS.iter();
        let tonic = declarations
            .filter(|declaration| declaration.id == "target_tonic")
            .find_map(|declaration| match &declaration.kind {
                crate::declaration::Kind::Choice(choice) => Some(choice),
                _ => None,
            });
        let tonic = tonic.expect("a choice of tonics");
        for (place, option) in tonic.options.iter().enumerate() {
            assert_eq!(
                tonic.value(&written(option.name)),
                i32::try_from(place).ok()
            );
        }
    }

    #[test]
    fn every_parameter_stands_in_the_window_once() {
        let grouped = GROUPS.iter().flat_map(|group| group.ids.iter());
        let of_copies = COPY_IDS.iter().chain(&PITCH_IDS).flatten();
        let of_copies = of_copies.chain(READING_IDS.iter().flatten());
        let of_copies = of_copies.chain(CYCLE_IDS.iter().flatten());
        let shown: Vec<_> = grouped.chain(of_copies).chain([&"hold"]).copied().collect();
        let different: BTreeSet<_> = shown.iter().copied().collect();
        let declared: BTreeSet<_> = DECLARATIONS.iter().map(|one| one.id.as_str()).collect();
        assert_eq!(different, declared);
        assert_eq!(shown.len(), declared.len(), "none stands there twice");
    }

    #[test]
    fn drift_stands_back_when_copies_jump() {
        let mut settings = Settings::default();
        assert!(matters("drift", &settings));
        settings.motion.motion = Motion::Jump;
        assert!(!matters("drift", &settings));
        assert!(matters("dwell", &settings));
    }

    #[test]
    fn what_would_have_generated_a_form_stands_back_when_it_is_written() {
        use crate::feed::Snapshot;
        use procession_core::engine::Anchor;
        use procession_core::phrase::Phrase;
        let phrase = Phrase::from_text("D4 . F4 G4", 0.25).expect("a phrase");
        let settings = Settings::default();
        let mut seen = Seen::new(Snapshot::default(), phrase, settings, Anchor::NextStart);
        assert!(matters_to("dwell", &seen) && matters_to("motion", &seen));
        seen.follow_route(&seen.process.voices().as_route());
        assert!(!matters_to("dwell", &seen) && !matters_to("motion", &seen));
        assert!(matters_to("copies", &seen) && matters_to("offset", &seen));
        assert!(!matters_to("cue", &seen));
    }
}
