//! The score as MusicXML.

use super::Score;
use super::beams::beams;
use super::clef::{TREBLE, clef};
use super::lines::{Chord, lines};
use super::metre::{Metre, QUARTER, Whole, bars, bars_in, unit_of};
use super::percussion::Percussion;
use super::pitch::{Accidentals, Pitch, accidental_name};
use super::sheet::{Passage, Sheet, nearest_multiple};
use super::systems::system_starts;
use super::tonality::Tonality;
use super::values::{THIRTY_SECOND, Written, written};
use super::words::{self, Words};
use crate::exchange::xml::Xml;
use crate::note::Key;
use crate::part::{CopyNumber, Part};
use crate::settings::Growth;
use crate::time::to_ticks;

/// Parts of a written quarter in the file. 24 has thirty-seconds and triplets of them.
const DIVISIONS: i64 = 24;

/// The channel of percussion in General MIDI, counted from 1.
const PERCUSSION_CHANNEL: u8 = 10;

const DOCTYPE: &str = r#"score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd""#;

/// The score, or one part of it.
pub(super) fn musicxml(score: &Score, only: Option<Part>) -> String {
    let sheet = score.sheet();
    let mut xml = Xml::with_doctype(DOCTYPE);
    xml.within("score-partwise", &[("version", "4.0")], |xml| {
        xml.within("work", &[], |xml| {
            xml.text("work-title", &[], score.piece.title)
        });
        xml.within("identification", &[], |xml| {
            xml.within("encoding", &[], |xml| {
                xml.text("software", &[], "Procession")
            });
        });
        let parts = score.piece.performance.parts().enumerate();
        let parts: Vec<(usize, Part)> = parts
            .filter(|(_, part)| only.is_none_or(|only| only == *part))
            .collect();
        part_list(xml, &parts, |(place, part)| {
            Percussion::of(score, &sheet, place, part)
        });
        let starts = system_starts(&sheet, |passage| bars_of(passage, &sheet, score));
        for (row, (place, part)) in parts.into_iter().enumerate() {
            PartWriter {
                is_first: row == 0,
                ..PartWriter::new(score, &sheet, &starts, (place, part))
            }
            .write(xml);
        }
    });
    xml.finish()
}

/// The bars that a passage is cut into.
fn bars_of(passage: &Passage, sheet: &Sheet, score: &Score) -> Vec<Metre> {
    let written = |ticks: i64| if sheet.compound { ticks * 3 / 2 } else { ticks };
    let process = score.piece.performance.at(passage.at);
    let settings = process.settings();
    let phrase = score.piece.process().phrase();
    let whole = to_ticks(phrase.length());
    if let Some(bar) = phrase.bar().filter(|_| passage.length == whole) {
        let in_bars = Whole {
            metre: Some(bar.metre).filter(|_| !sheet.compound),
            length: written(to_ticks(bar.metre.bar())),
            from: 0,
        };
        // Bars and what is cut off them have to be written in note values.
        let finest = |ticks: i64| nearest_multiple(ticks, THIRTY_SECOND);
        let is_written = finest(in_bars.length) == in_bars.length;
        if is_written && written(whole) % in_bars.length == 0 {
            let pick_up = finest(written(to_ticks(phrase.pick_up())));
            return bars_in(in_bars, written(whole), sheet.compound, pick_up);
        }
    }
    // As a phrase grows longer, every length is counted in the same unit.
    let unit = if settings.growth.growth == Growth::Lengthen && passage.length < whole {
        unit_of(written(to_ticks(settings.step())))
    } else {
        4
    };
    bars(written(passage.length), sheet.compound, unit)
}

fn part_list(
    xml: &mut Xml,
    parts: &[(usize, Part)],
    percussion: impl Fn((usize, Part)) -> Option<Percussion>,
) {
    xml.within("part-list", &[], |xml| {
        let group = [("number", "1")];
        xml.within("part-group", &[("type", "start"), group[0]], |xml| {
            xml.text("group-symbol", &[], "bracket");
            xml.text("group-barline", &[], "yes");
        });
        for (place, part) in parts {
            xml.within("score-part", &[("id", &part_id(*place))], |xml| {
                xml.text("part-name", &[], &part.to_string());
                xml.text("part-abbreviation", &[], &words::abbreviation(*part));
                if let Some(percussion) = percussion((*place, *part)) {
                    instruments(xml, &percussion, *place);
                }
            });
        }
        xml.empty("part-group", &[("type", "stop"), group[0]]);
    });
}

/// What is struck, each with its key, so that a program can sound it.
fn instruments(xml: &mut Xml, percussion: &Percussion, place: usize) {
    for key in percussion.keys() {
        let id = instrument_id(place, *key);
        xml.within("score-instrument", &[("id", &id)], |xml| {
            xml.text("instrument-name", &[], &percussion.name(*key));
        });
    }
    for key in percussion.keys() {
        let id = instrument_id(place, *key);
        xml.within("midi-instrument", &[("id", &id)], |xml| {
            xml.number("midi-channel", PERCUSSION_CHANNEL);
            // Counted from 1.
            xml.number("midi-unpitched", u32::from(key.number()) + 1);
        });
    }
}

fn instrument_id(place: usize, key: Key) -> String {
    format!("{}-I{}", part_id(place), key.number())
}

fn part_id(place: usize) -> String {
    format!("P{}", place + 1)
}

struct PartWriter<'a> {
    score: &'a Score<'a>,
    sheet: &'a Sheet,
    /// Which bars of which passages begin a system.
    starts: &'a [Vec<bool>],
    part: Part,
    /// Its place among the parts in use.
    place: usize,
    /// Where what it strikes stands, if that has no pitch.
    percussion: Option<Percussion>,
    /// Whether it stands at the top, and so has what is for all.
    is_first: bool,
    measure: usize,
    letters: usize,
    signature: Option<(String, i64)>,
    tonality: Option<Tonality>,
}

impl<'a> PartWriter<'a> {
    fn new(
        score: &'a Score<'a>,
        sheet: &'a Sheet,
        starts: &'a [Vec<bool>],
        (place, part): (usize, Part),
    ) -> Self {
        Self {
            score,
            sheet,
            starts,
            part,
            place,
            percussion: Percussion::of(score, sheet, place, part),
            is_first: false,
            measure: 0,
            letters: 0,
            signature: None,
            tonality: None,
        }
    }

    fn write(mut self, xml: &mut Xml) {
        xml.within("part", &[("id", &part_id(self.place))], |xml| {
            for index in 0..self.sheet.passages.len() {
                self.passage(xml, index);
            }
        });
    }

    fn passage(&mut self, xml: &mut Xml, index: usize) {
        let passage = &self.sheet.passages[index];
        let metres = bars_of(passage, self.sheet, self.score);
        let compound = self.sheet.compound;
        let lines = lines(&passage.parts[self.place], passage.length, compound);
        let mut from = 0;
        for (bar, metre) in metres.iter().enumerate() {
            let place = BarPlace {
                index,
                is_first: bar == 0,
                is_last: bar + 1 == metres.len(),
            };
            self.measure += 1;
            let number = self.measure.to_string();
            let mut about = vec![("number", number.as_str())];
            about.extend(metre.is_part().then_some(("implicit", "yes")));
            xml.within("measure", &about, |xml| {
                if self.starts[index][bar] {
                    xml.empty("print", &[("new-system", "yes")]);
                }
                self.bar(xml, &place, metre, &lines, from);
            });
            from += metre.length;
        }
    }

    fn bar(
        &mut self,
        xml: &mut Xml,
        place: &BarPlace,
        metre: &Metre,
        lines: &[Vec<Chord>],
        from: i64,
    ) {
        let passage = &self.sheet.passages[place.index];
        let is_repeated = passage.plays > 1;
        if place.is_first && is_repeated {
            xml.within("barline", &[("location", "left")], |xml| {
                xml.text("bar-style", &[], "heavy-light");
                xml.empty("repeat", &[("direction", "forward")]);
            });
        }
        self.attributes(xml, metre, &passage.tonality);
        if place.is_first {
            self.directions(xml, place);
        }
        self.notes(xml, metre, lines, from, passage);
        if place.is_last {
            self.end_dashes(xml, place.index);
            self.end(xml, place.index);
        }
    }

    fn attributes(&mut self, xml: &mut Xml, metre: &Metre, tonality: &Tonality) {
        let signature = metre.signature();
        let is_first = self.tonality.is_none();
        let has_pitch = self.percussion.is_none();
        let new_key = self.tonality.is_none_or(|before| {
            let is_as_before =
                (before.signature, before.word()) == (tonality.signature, tonality.word());
            has_pitch && !is_as_before
        });
        let new_time = self.signature.as_ref() != Some(&signature);
        if new_key || new_time {
            xml.within("attributes", &[], |xml| {
                if is_first {
                    xml.number("divisions", DIVISIONS);
                }
                if new_key && has_pitch {
                    xml.within("key", &[], |xml| {
                        xml.number("fifths", tonality.signature);
                        if let Some(word) = tonality.word() {
                            xml.text("mode", &[], word);
                        }
                    });
                }
                if new_time {
                    xml.within("time", &[], |xml| {
                        xml.text("beats", &[], &signature.0);
                        xml.number("beat-type", signature.1);
                    });
                }
                if is_first && has_pitch {
                    self.clef_and_transposition(xml, tonality);
                } else if is_first {
                    xml.within("clef", &[], |xml| xml.text("sign", &[], "percussion"));
                }
            });
        }
        self.signature = Some(signature);
        self.tonality = Some(*tonality);
    }

    fn clef_and_transposition(&self, xml: &mut Xml, tonality: &Tonality) {
        let octaves = self.score.transposition(self.part).octaves();
        // Every note of every bar speaks for its clef.
        let pitches: Vec<Pitch> = self
            .sheet
            .passages
            .iter()
            .flat_map(|passage| &passage.parts[self.place])
            .map(|note| Pitch::below(note.key, octaves, &tonality.spelling))
            .collect();
        // Instruments that sound octaves higher are written in the treble clef (common practice).
        let clef = if octaves > 0 { TREBLE } else { clef(&pitches) };
        xml.within("clef", &[], |xml| {
            xml.text("sign", &[], clef.sign);
            xml.number("line", clef.line);
            if clef.octaves != 0 {
                xml.number("clef-octave-change", clef.octaves);
            }
        });
        if octaves != 0 {
            xml.within("transpose", &[], |xml| {
                xml.number("diatonic", 0);
                xml.number("chromatic", 0);
                xml.number("octave-change", octaves);
            });
        }
    }

    fn directions(&mut self, xml: &mut Xml, place: &BarPlace) {
        let passage = &self.sheet.passages[place.index];
        let before = place.index.checked_sub(1).map(|i| &self.sheet.passages[i]);
        let mut told = match self.part {
            Part::Steady => words::steady(passage, before, self.score),
            Part::Copy(copy) => words::moving(copy, passage, before, self.score),
            Part::ResultingLine => words::resulting(passage),
        };
        if place.index == 0 {
            let opening = words::opening(self.part, self.score);
            told.words.splice(0..0, opening);
        }
        if !self.is_first {
            return self.tell(xml, &told);
        }
        self.letter(xml, passage, before);
        if before.is_none_or(|before| before.tempo != passage.tempo) {
            metronome(xml, passage.tempo, self.sheet.compound);
        }
        // What is said first stands nearest to the staff, so what is for all comes after.
        self.tell(xml, &told);
        let is_last = place.index + 1 == self.sheet.passages.len();
        let for_all = words::for_all(passage, before, is_last, self.score);
        if !for_all.is_empty() {
            direction(xml, true, &for_all.join("\n"));
        }
    }

    /// One direction, so that its lines stand in the order in which they are read.
    fn tell(&self, xml: &mut Xml, told: &Words) {
        let words = told.words.join("\n");
        if words.is_empty() {
            return;
        }
        if !told.dashes {
            return direction(xml, false, &words);
        }
        let number = self.place.to_string();
        xml.within("direction", &[("placement", "above")], |xml| {
            direction_type(xml, |xml| xml.text("words", STYLE, &words));
            direction_type(xml, |xml| {
                xml.empty("dashes", &[("type", "start"), ("number", &number)]);
            });
            // Some readers pair the ends of a line by staff, and only if it is named.
            xml.number("staff", 1);
        });
    }

    /// A letter for each stage that a copy arrives in or that nobody drifts in: a drift belongs
    /// to what it leaves.
    fn letter(&mut self, xml: &mut Xml, passage: &Passage, before: Option<&Passage>) {
        let arrives = before.is_some_and(|before| {
            let mut copies = before.drifting.iter().zip(&passage.drifting);
            copies.any(|(drifted, drifts)| *drifted && !drifts)
        });
        if !passage.begins || (passage.is_drift() && !arrives) {
            return;
        }
        let letter = words::rehearsal_letter(self.letters);
        self.letters += 1;
        let attributes = [("placement", "above"), ("system", "only-top")];
        xml.within("direction", &attributes, |xml| {
            direction_type(xml, |xml| xml.text("rehearsal", &[], &letter));
        });
    }

    /// The dashed line ends where the copy no longer drifts.
    fn end_dashes(&self, xml: &mut Xml, index: usize) {
        let Part::Copy(copy) = self.part else { return };
        let drifts = |index: usize| {
            let passage = self.sheet.passages.get(index);
            passage.is_some_and(|passage| passage.drifting[copy.index()])
        };
        if drifts(index) && !drifts(index + 1) && self.began_dashes(copy, index) {
            let number = self.place.to_string();
            let number = ("number", number.as_str());
            xml.within("direction", &[("placement", "above")], |xml| {
                direction_type(xml, |xml| {
                    xml.empty("dashes", &[("type", "stop"), number]);
                });
                xml.number("staff", 1);
            });
        }
    }

    /// Whether the drift that this passage belongs to was announced.
    fn began_dashes(&self, copy: CopyNumber, index: usize) -> bool {
        let passages = &self.sheet.passages;
        let first = (0..=index)
            .rev()
            .take_while(|i| passages[*i].drifting[copy.index()])
            .last();
        first.is_some_and(|first| {
            let before = first.checked_sub(1).map(|i| &passages[i]);
            words::moving(copy, &passages[first], before, self.score).dashes
        })
    }

    fn end(&self, xml: &mut Xml, index: usize) {
        let passage = &self.sheet.passages[index];
        let is_end = index + 1 == self.sheet.passages.len();
        if passage.plays < 2 && !is_end {
            return;
        }
        xml.within("barline", &[("location", "right")], |xml| {
            xml.text("bar-style", &[], "light-heavy");
            if passage.plays > 1 {
                let times = passage.plays.to_string();
                xml.empty("repeat", &[("direction", "backward"), ("times", &times)]);
            }
        });
    }

    fn notes(
        &self,
        xml: &mut Xml,
        metre: &Metre,
        lines: &[Vec<Chord>],
        from: i64,
        passage: &Passage,
    ) {
        let lines: Vec<Vec<Written>> = lines
            .iter()
            .map(|line| written(line, from, metre))
            .filter(|bar| bar.iter().any(|written| !written.keys.is_empty()))
            .collect();
        if lines.is_empty() {
            return bar_rest(xml, metre);
        }
        let shown = self.accidentals(&lines, &passage.tonality);
        let only = self.only_in(passage);
        for (index, line) in lines.iter().enumerate() {
            if index > 0 {
                xml.within("backup", &[], |xml| {
                    xml.number("duration", duration(metre.length));
                });
            }
            let beams = beams(line);
            for (at, written) in line.iter().enumerate() {
                if written.keys.is_empty() && index > 0 {
                    // A second line's rests would only be in the way of the first.
                    xml.within("forward", &[], |xml| {
                        xml.number("duration", duration(written.length));
                    });
                    continue;
                }
                NoteWriter {
                    written,
                    place: self.place,
                    line: index + 1,
                    beams: &beams[at],
                    only: only.as_deref(),
                }
                .write(xml, &shown[index][at]);
            }
        }
    }

    /// In which plays of a repeat the resulting line sounds, if not in all.
    fn only_in(&self, passage: &Passage) -> Option<String> {
        let is_line = self.part == Part::ResultingLine;
        let (first, last) = passage
            .line_plays
            .filter(|_| is_line && passage.is_line_partial())?;
        let plays: Vec<String> = (first..=last).map(|play| play.to_string()).collect();
        Some(plays.join(","))
    }

    /// The pitches of a bar, and which of them show their accidental, in order of time.
    fn accidentals(&self, lines: &[Vec<Written>], tonality: &Tonality) -> Vec<Vec<Vec<Head>>> {
        let octaves = self.score.transposition(self.part).octaves();
        let mut heads: Vec<Vec<Vec<Head>>> = lines
            .iter()
            .map(|line| vec![Vec::new(); line.len()])
            .collect();
        let mut order: Vec<(i64, usize, usize)> = lines
            .iter()
            .enumerate()
            .flat_map(|(l, line)| line.iter().enumerate().map(move |(i, w)| (w.start, l, i)))
            .collect();
        order.sort_unstable();
        let mut accidentals = Accidentals::new(tonality.signature);
        for (_, l, i) in order {
            let written = &lines[l][i];
            heads[l][i] = written
                .keys
                .iter()
                .map(|key| {
                    if let Some(percussion) = &self.percussion {
                        return Head::Struck(*key, percussion.place(*key));
                    }
                    let pitch = Pitch::below(*key, octaves, &tonality.spelling);
                    let shows = !written.tied_from && accidentals.shows(pitch);
                    Head::Pitched(pitch, shows)
                })
                .collect();
        }
        heads
    }
}

/// Where a bar stands.
struct BarPlace {
    /// Its passage.
    index: usize,
    is_first: bool,
    is_last: bool,
}

/// A notehead.
#[derive(Clone, Copy)]
enum Head {
    /// Its pitch, and whether its accidental is shown.
    Pitched(Pitch, bool),
    /// What is struck, and where it stands: a letter and an octave, as in the treble clef.
    Struck(Key, (char, i32)),
}

struct NoteWriter<'a> {
    written: &'a Written,
    /// That of its part.
    place: usize,
    line: usize,
    beams: &'a [super::beams::Beam],
    /// In which plays of a repeat it sounds, if not in all.
    only: Option<&'a str>,
}

impl NoteWriter<'_> {
    fn write(&self, xml: &mut Xml, heads: &[Head]) {
        if heads.is_empty() {
            xml.within("note", &[], |xml| {
                xml.empty("rest", &[]);
                self.rest_of_note(xml, true, None);
            });
        }
        let only = self.only.map(|only| ("time-only", only));
        for (index, head) in heads.iter().enumerate() {
            xml.within("note", only.as_slice(), |xml| {
                if index > 0 {
                    xml.empty("chord", &[]);
                }
                match head {
                    Head::Pitched(pitch, _) => xml.within("pitch", &[], |xml| {
                        xml.text("step", &[], &pitch.letter.to_string());
                        if pitch.alter != 0 {
                            xml.number("alter", pitch.alter);
                        }
                        xml.number("octave", pitch.octave);
                    }),
                    Head::Struck(_, (letter, octave)) => xml.within("unpitched", &[], |xml| {
                        xml.text("display-step", &[], &letter.to_string());
                        xml.number("display-octave", octave);
                    }),
                }
                self.rest_of_note(xml, index == 0, Some(head));
            });
        }
    }

    /// The elements after the pitch, in the order that the format demands.
    fn rest_of_note(&self, xml: &mut Xml, is_first: bool, head: Option<&Head>) {
        let written = self.written;
        xml.number("duration", duration(written.length));
        if written.tied_from {
            xml.empty("tie", &[("type", "stop")]);
        }
        if written.tied_to {
            xml.empty("tie", &[("type", "start")]);
        }
        if let Some(Head::Struck(key, _)) = head {
            xml.empty("instrument", &[("id", &instrument_id(self.place, *key))]);
        }
        xml.number("voice", self.line);
        xml.text("type", &[], written.value.name());
        if written.value.is_dotted() {
            xml.empty("dot", &[]);
        }
        if let Some(Head::Pitched(pitch, true)) = head {
            xml.text("accidental", &[], accidental_name(pitch.alter));
        }
        if let Some(tuplet) = written.tuplet {
            xml.within("time-modification", &[], |xml| {
                xml.number("actual-notes", tuplet.actual);
                xml.number("normal-notes", tuplet.normal);
                xml.text("normal-type", &[], tuplet.of.name());
            });
        }
        if is_first {
            for (level, beam) in self.beams.iter().enumerate() {
                let number = (level + 1).to_string();
                xml.text("beam", &[("number", &number)], beam.name());
            }
        }
        self.notations(xml, is_first);
    }

    fn notations(&self, xml: &mut Xml, is_first: bool) {
        let written = self.written;
        let tuplet = written.tuplet.filter(|_| is_first);
        let starts = tuplet.is_some_and(|tuplet| tuplet.starts);
        let stops = tuplet.is_some_and(|tuplet| tuplet.stops);
        let ties = [
            (written.tied_from, "stop"),
            (written.tied_to, "start"),
            (written.rings, "let-ring"),
        ];
        if !(starts || stops || ties.iter().any(|(is, _)| *is)) {
            return;
        }
        xml.within("notations", &[], |xml| {
            for (_, kind) in ties.iter().filter(|(is, _)| *is) {
                xml.empty("tied", &[("type", kind)]);
            }
            for (is, kind) in [(starts, "start"), (stops, "stop")] {
                if is {
                    xml.empty("tuplet", &[("type", kind), ("number", "1")]);
                }
            }
        });
    }
}

fn bar_rest(xml: &mut Xml, metre: &Metre) {
    xml.within("note", &[], |xml| {
        xml.empty("rest", &[("measure", "yes")]);
        xml.number("duration", duration(metre.length));
        xml.number("voice", 1);
    });
}

fn duration(written_ticks: i64) -> i64 {
    written_ticks * DIVISIONS / QUARTER
}

/// How directions are set: plainly, so that italics are left to the players' own marks.
const STYLE: crate::exchange::xml::Attributes = &[("font-style", "normal")];

fn direction(xml: &mut Xml, for_all: bool, words: &str) {
    let attributes = [("placement", "above"), ("system", "only-top")];
    let attributes = if for_all {
        &attributes[..]
    } else {
        &attributes[..1]
    };
    xml.within("direction", attributes, |xml| {
        direction_type(xml, |xml| xml.text("words", STYLE, words));
    });
}

fn direction_type(xml: &mut Xml, inside: impl FnOnce(&mut Xml)) {
    xml.within("direction-type", &[], inside);
}

/// The beat and how many of them a minute has.
fn metronome(xml: &mut Xml, tempo: f64, compound: bool) {
    if !(tempo.is_finite() && tempo > 0.0) {
        return;
    }
    let round = |number: f64| ((number * 1000.0).round() / 1000.0).to_string();
    let attributes = [("placement", "above"), ("system", "only-top")];
    xml.within("direction", &attributes, |xml| {
        direction_type(xml, |xml| {
            xml.within("metronome", &[], |xml| {
                xml.text("beat-unit", &[], "quarter");
                if compound {
                    xml.empty("beat-unit-dot", &[]);
                }
                xml.text("per-minute", &[], &round(tempo));
            });
        });
        let quarters = if compound { tempo * 1.5 } else { tempo };
        xml.empty("sound", &[("tempo", &round(quarters))]);
    });
}
