//! The settings, as a host reads them: by the texts the plug-in shows.

use anyhow::{Context, Result};
use procession_core::mode::{ModeName, PitchName};
use procession_core::settings::*;
use procession_tests::host::Instance;

/// What the plug-in shows now.
pub fn read(plugin: &mut Instance) -> Result<Settings> {
    let mut settings = Settings::default();
    let s = &mut settings;
    let mut shown = Shown(plugin);
    s.capture.grid = shown.one_of("grid", &GRIDS)?;
    s.motion.copies = shown.number("copies")? as usize;
    s.motion.motion = shown.one_of("motion", &MOTIONS)?;
    s.motion.offset = shown.number("offset")?;
    s.motion.shift_by = shown.number("shift_by")? as i32;
    s.motion.copies_move = shown.one_of("copies_move", &MOVES)?;
    s.motion.dwell = shown.number("dwell")? as u32;
    s.motion.drift = shown.number("drift")? as u32;
    s.motion.shifts = match shown.text("shifts")?.as_str() {
        "Auto" => Shifts::Auto,
        "Endless" => Shifts::Endless,
        _ => Shifts::Count(shown.number("shifts")? as u32),
    };
    s.motion.entry = shown.number("entry")? as u32;
    s.growth.growth = shown.one_of("growth", &GROWTHS)?;
    s.growth.step = shown.number("growth_step")? as i32;
    s.growth.every = shown.number("growth_every")? as u32;
    s.growth.order = shown.one_of("growth_order", &ORDERS)?;
    s.growth.copies_grow = shown.text("copies_grow")? == "On";
    s.fold.fold = shown.one_of("fold", &FOLDS)?;
    s.fold.source_tonic = tonic(&shown.text("source_tonic")?);
    s.fold.source_mode = mode(&shown.text("source_mode")?);
    s.fold.target_tonic = tonic(&shown.text("target_tonic")?).unwrap_or_default();
    s.fold.target_mode = mode(&shown.text("target_mode")?).unwrap_or_default();
    s.fold.amount = shown.number("fold_amount")? / 100.0;
    s.output.all_on_one = shown.text("channels")? == "All on one";
    s.motion.advance = shown.one_of("advance", &ADVANCES)?;
    s.resulting.which = shown.one_of("resulting", &RESULTING)?;
    s.resulting.level = shown.number("resulting_level")? as f32 / 100.0;
    s.resulting.octave = shown.number("resulting_octave")? as i32;
    for copy in 1..=MAX_COPIES {
        s.copies[copy - 1].offset = shown.number(&format!("copy{copy}_offset"))?;
        s.copies[copy - 1].octave = shown.number(&format!("copy{copy}_octave"))? as i32;
        // As long as the phrase, it is shown in words.
        let length = shown.number(&format!("copy{copy}_length")).ok();
        s.copies[copy - 1].length = length.map(|steps| steps as u32);
        s.copies[copy - 1].degrees = shown.number(&format!("copy{copy}_degrees"))? as i32;
        s.copies[copy - 1].semitones = shown.number(&format!("copy{copy}_semitones"))? as i32;
        s.copies[copy - 1].backwards = shown.text(&format!("copy{copy}_backwards"))? == "On";
        s.copies[copy - 1].upside_down = shown.text(&format!("copy{copy}_upside_down"))? == "On";
    }
    Ok(settings)
}

const GRIDS: [(&str, Grid); 6] = [
    ("1/4", Grid::Quarter),
    ("1/8", Grid::Eighth),
    ("1/8 triplet", Grid::EighthTriplet),
    ("1/16", Grid::Sixteenth),
    ("1/16 triplet", Grid::SixteenthTriplet),
    ("1/32", Grid::ThirtySecond),
];

const MOTIONS: [(&str, Motion); 3] = [
    ("Drift", Motion::Drift),
    ("Jump", Motion::Jump),
    ("Build up", Motion::BuildUp),
];

const ADVANCES: [(&str, Advance); 2] = [("Counted", Advance::Counted), ("On cue", Advance::OnCue)];

const RESULTING: [(&str, Resulting); 4] = [
    ("Off", Resulting::Off),
    ("Top", Resulting::Top),
    ("Bottom", Resulting::Bottom),
    ("Coincidences", Resulting::Together),
];

const MOVES: [(&str, CopiesMove); 3] = [
    ("Fanned", CopiesMove::Fanned),
    ("Together", CopiesMove::Together),
    ("In turn", CopiesMove::InTurn),
];

const GROWTHS: [(&str, Growth); 3] = [
    ("Off", Growth::Off),
    ("Fill", Growth::Fill),
    ("Lengthen", Growth::Lengthen),
];

const ORDERS: [(&str, GrowthOrder); 7] = [
    ("Forward", GrowthOrder::Forward),
    ("Backward", GrowthOrder::Backward),
    ("Strong beats first", GrowthOrder::StrongBeatsFirst),
    ("Low to high", GrowthOrder::LowToHigh),
    ("High to low", GrowthOrder::HighToLow),
    ("Centre out", GrowthOrder::CentreOut),
    ("Scattered", GrowthOrder::Scattered),
];

const FOLDS: [(&str, FoldKind); 3] = [
    ("Off", FoldKind::Off),
    ("By degree", FoldKind::ByDegree),
    ("Nearest", FoldKind::Nearest),
];

fn tonic(text: &str) -> Option<u8> {
    PitchName::from_text(text).map(PitchName::pitch_class)
}

fn mode(text: &str) -> Option<ModeName> {
    ModeName::ALL.into_iter().find(|mode| mode.name() == text)
}

struct Shown<'a>(&'a mut Instance);

impl Shown<'_> {
    fn text(&mut self, id: &str) -> Result<String> {
        Ok(self.0.text(id)?)
    }

    fn number(&mut self, id: &str) -> Result<f64> {
        let text = self.text(id)?;
        let digits = text.split_whitespace().next().unwrap_or_default();
        digits
            .trim_end_matches('%')
            .parse()
            .with_context(|| format!("the plug-in shows {id} as \"{text}\", which is not a number"))
    }

    fn one_of<T: Copy>(&mut self, id: &str, values: &[(&str, T)]) -> Result<T> {
        let text = self.text(id)?;
        values
            .iter()
            .find(|(name, _)| *name == text)
            .map(|(_, value)| *value)
            .with_context(|| format!("the plug-in shows {id} as \"{text}\", which is unknown here"))
    }
}
