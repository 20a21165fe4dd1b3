//! Takes and sketches in words: when a take came, what a sketch is, and by what two of them differ.

use crate::params::Parameters;
use crate::state::{How, Sketch, Take};
use procession_core::mode::Mode;
use procession_core::phrase::Phrase;
use procession_core::settings::{FoldKind, FoldSettings, Settings};
use procession_core::words::number_of;

/// So many differences are said one by one.
const SAID: usize = 6;

/// How long ago something was, by clocks that tell seconds since 1970.
pub fn ago(at: u64, now: u64) -> String {
    match now.saturating_sub(at) {
        0..60 => "just now".to_owned(),
        seconds @ 60..3600 => format!("{} min ago", seconds / 60),
        seconds @ 3600..86_400 => format!("{} h ago", seconds / 3600),
        seconds => format!("{} ago", number_of((seconds / 86_400) as usize, "day")),
    }
}

/// "9 notes, held 5 min ago".
pub fn about_take(take: &Take, now: u64) -> String {
    let how = match take.how {
        How::Held | How::Loaded if take.voice.is_some() => "said",
        How::Held => "held",
        How::Loaded => "loaded",
        How::Written => "written",
    };
    let notes = number_of(take.phrase.notes().len(), "note");
    format!("{notes}, {how} {}", ago(take.at, now))
}

/// What a sketch is, as it stands: "9 notes, 2 copies, drift, D Dorian".
pub struct About {
    settings: Settings,
    values: Vec<(&'static str, &'static str, String)>,
}

impl About {
    /// Of a sketch. Costs some milliseconds.
    pub fn of(sketch: &Sketch) -> Self {
        let stood = sketch.stood();
        Self {
            settings: stood.settings(&stood.kept.current()),
            values: values(&stood),
        }
    }

    fn value(&self, id: &str) -> &str {
        let found = self.values.iter().find(|(this, ..)| *this == id);
        found.map_or("", |(.., text)| text)
    }

    /// "9 notes, 2 copies, drift, E♭ Lydian by degree, 12 stages written".
    pub fn words(&self, sketch: &Sketch) -> String {
        let mut words = vec![
            number_of(sketch.phrase.notes().len(), "note"),
            self.value("copies").to_owned(),
            self.value("motion").to_lowercase(),
        ];
        if self.settings.fold.fold != FoldKind::Off {
            words.push(folded(&self.settings.fold));
        }
        if sketch.route.is_written() {
            let stages = number_of(sketch.route.stages().len(), "stage");
            words.push(format!("{stages} written"));
        }
        let changes = sketch.modulations.iter().count();
        if changes > 0 {
            words.push(number_of(changes, "mode change"));
        }
        if !sketch.performed.moments.is_empty() {
            words.push("performed".to_owned());
        }
        words.join(", ")
    }
}

/// All parameters: id, name, and value in words.
fn values(parameters: &Parameters) -> Vec<(&'static str, &'static str, String)> {
    let mut values = Vec::new();
    parameters.each(|declaration, parameter| {
        let text = parameter.text_of(parameter.normalized());
        values.push((declaration.id.as_str(), declaration.name.as_str(), text));
    });
    values
}

/// "E♭ Lydian by degree".
fn folded(fold: &FoldSettings) -> String {
    let target = Mode::named(fold.target_tonic, fold.target_mode, fold.custom).name();
    match fold.fold {
        FoldKind::Off => "not folded".to_owned(),
        FoldKind::ByDegree => format!("{target} by degree"),
        FoldKind::Nearest => format!("{target}, to the nearest pitch"),
    }
}

/// What the second is instead of the first: "E♭ Lydian by degree, dwell 4 instead of 8 cycles".
pub fn differences(
    (one, about_one): (&Sketch, &About),
    (other, about_other): (&Sketch, &About),
) -> String {
    let mut said = Vec::new();
    let (was, is) = (&about_one.settings.fold, &about_other.settings.fold);
    if folded(was) != folded(is) {
        said.push(folded(is));
    }
    said.extend(phrases(&one.phrase, &other.phrase));
    // What the words about the fold have said.
    let told = ["fold", "target_tonic", "target_mode"];
    let pairs = about_one.values.iter().zip(&about_other.values);
    for ((id, name, was), (_, _, is)) in pairs {
        if was != is && !told.contains(id) {
            said.push(valued(&lower(name), &instead(is, was)));
        }
    }
    if one.route != other.route {
        let written = |sketch: &Sketch| match sketch.route.is_written() {
            true => number_of(sketch.route.stages().len(), "stage") + " written",
            false => "the form as generated".to_owned(),
        };
        let (is, was) = (written(other), written(one));
        said.push(match is == was {
            true => "other stages".to_owned(),
            false => format!("{is} instead of {was}"),
        });
    }
    if one.modulations != other.modulations {
        let count = |sketch: &Sketch| sketch.modulations.iter().count();
        said.push(match (count(other), count(one)) {
            (is, was) if is == was => "other mode changes".to_owned(),
            (0, _) => "no mode changes".to_owned(),
            (is, _) => number_of(is, "mode change"),
        });
    }
    if one.custom != other.custom {
        said.push("another custom mode".to_owned());
    }
    if one.performed != other.performed {
        said.push("performed otherwise".to_owned());
    }
    let more = said.len().saturating_sub(SAID);
    said.truncate(SAID);
    match (said.is_empty(), more) {
        (true, _) => "the same".to_owned(),
        (false, 0) => said.join(", "),
        (false, more) => format!("{}, and {more} more", said.join(", ")),
    }
}

fn phrases(one: &Phrase, other: &Phrase) -> Option<String> {
    let count = |phrase: &Phrase| phrase.notes().len();
    match (one == other, count(one) == count(other)) {
        (true, _) => None,
        (false, true) => Some("another phrase".to_owned()),
        (false, false) => Some(format!(
            "another phrase, of {} instead of {}",
            number_of(count(other), "note"),
            count(one)
        )),
    }
}

/// "4 instead of 8 cycles": what is measured is said once.
fn instead(is: &str, was: &str) -> String {
    match (is.split_once(' '), was.split_once(' ')) {
        (Some((is, unit)), Some((was, measure))) if alike(unit, measure) => {
            format!("{is} instead of {was} {measure}")
        }
        _ => format!("{} instead of {}", lower(is), lower(was)),
    }
}

/// "dwell 4 instead of 8 cycles"; "copies 3 instead of 1", where the name says what is counted.
fn valued(name: &str, value: &str) -> String {
    match value.split_once(" instead of ") {
        Some((is, was))
            if was
                .split_once(' ')
                .is_some_and(|(_, unit)| alike(unit, name)) =>
        {
            let count = was.split_once(' ').map_or(was, |(count, _)| count);
            let is = is.split_once(' ').map_or(is, |(count, _)| count);
            format!("{name} {is} instead of {count}")
        }
        _ => format!("{name} {value}"),
    }
}

/// "cycle" and "cycles", "copy" and "copies" are.
fn alike(one: &str, other: &str) -> bool {
    let stem = |unit: &str| match unit.strip_suffix("ies") {
        Some(stem) => format!("{stem}y"),
        None => unit.trim_end_matches('s').to_owned(),
    };
    stem(one) == stem(other) && one.chars().all(|sign| sign.is_lowercase() || sign == '%')
}

/// Within a sentence. Names of pitches stay as they are.
fn lower(text: &str) -> String {
    let mut signs = text.chars();
    let (first, second) = (signs.next(), signs.clone().next());
    let is_pitch = second.is_none_or(|second| "♭♯ 0123456789".contains(second));
    match first {
        Some(first) if !is_pitch => first.to_lowercase().collect::<String>() + signs.as_str(),
        _ => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::state::Kept;

    fn parameters(values: &[(&str, &str)]) -> std::sync::Arc<Parameters> {
        let (parameters, _) = Parameters::new();
        for (id, text) in values {
            let (declaration, parameter) = parameters.of_id(id).expect("a parameter");
            parameter.restore(&declaration.typed(text).expect("a value"));
        }
        parameters
    }

    fn sketch(text: &str, values: &[(&str, &str)]) -> Sketch {
        let mut kept = Kept::default();
        kept.taken.phrase = Phrase::from_text(text, 0.25).expect("a phrase");
        Sketch::of(&kept, &parameters(values), String::new())
    }

    fn told(one: &Sketch, other: &Sketch) -> String {
        differences((one, &About::of(one)), (other, &About::of(other)))
    }

    #[test]
    fn two_sketches_are_told_apart_in_words() {
        let one = sketch("D4 . F4", &[]);
        let fold = [
            ("fold", "By degree"),
            ("target_tonic", "E♭"),
            ("target_mode", "Lydian"),
        ];
        let more = [&fold[..], &[("dwell", "4 cycles"), ("motion", "Jump")]].concat();
        let other = sketch("D4 . F4", &more);
        assert_eq!(
            told(&one, &other),
            "E♭ Lydian by degree, motion jump instead of drift, dwell 4 instead of 8 cycles"
        );
        assert_eq!(told(&one, &one), "the same");
        let third = sketch("D4 E4 F4 G4", &[("copies", "3")]);
        assert_eq!(
            told(&one, &third),
            "another phrase, of 4 notes instead of 2, copies 3 instead of 1"
        );
        assert_eq!(
            About::of(&other).words(&other),
            "2 notes, 1 copy, jump, E♭ Lydian by degree"
        );
    }

    #[test]
    fn a_take_says_how_long_ago_it_came() {
        let said: Vec<_> = [0, 59, 60, 3599, 3600, 90_000, 200_000]
            .map(|seconds| ago(1_000_000, 1_000_000 + seconds))
            .into();
        assert_eq!(
            said,
            [
                "just now",
                "just now",
                "1 min ago",
                "59 min ago",
                "1 h ago",
                "1 day ago",
                "2 days ago"
            ]
        );
        assert_eq!(ago(9, 3), "just now", "a clock that was set back");
    }
}
