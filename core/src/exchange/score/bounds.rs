//! What a score may be made of before it is taken into memory.
//!
//! A file of some kilobytes can ask for gigabytes, or for minutes: by abbreviations of its own
//! (entities) that stand for others, by thousands of attributes or namespaces, each of which is
//! compared with all the others, or by elements within elements without end. So it is gone through
//! once, a piece at a time, keeping nothing, and is refused if it is far beyond any score.

use super::ScoreError;
use quick_xml::Reader;
use quick_xml::events::attributes::AttrError;
use quick_xml::events::{BytesStart, Event};
use std::borrow::Cow;
use std::ops::Range;

/// Elements, texts and what else stands in a file. A bar of notes takes some hundred.
pub(super) const MOST_NODES: u32 = 400_000;

/// Attributes of one element. The format's longest list of them is about a third of that.
const MOST_ATTRIBUTES: usize = 100;

/// Namespaces declared in the whole file. The format itself needs none, or one for links.
const MOST_NAMESPACES: usize = 32;

/// Elements within elements. The format's own nest some ten deep.
const DEEPEST: usize = 64;

/// What was counted so far.
#[derive(Debug, Default)]
struct Count {
    nodes: u32,
    namespaces: usize,
    depth: usize,
}

/// The text without its document type, if it is within bounds. All that is needed of the type is
/// its name, which the first element has, too. Nothing moves to another line.
///
/// # Errors
/// [`ScoreError::TooMuch`], or [`ScoreError::Damaged`] where it cannot be gone through.
pub(super) fn within(text: &str) -> Result<Cow<'_, str>, ScoreError> {
    let mut reader = Reader::from_str(text);
    let mut count = Count::default();
    let mut kind = None;
    loop {
        let start = reader.buffer_position();
        let damaged = |at| ScoreError::Damaged(line_of(text, at));
        match reader.read_event() {
            Ok(Event::Eof) => break,
            // A second one is damage, and found to be when the text is taken apart.
            Ok(Event::DocType(_)) if kind.is_none() => {
                kind = Some(start as usize..reader.buffer_position() as usize);
            }
            Ok(event) => {
                count.add(&event).map_err(|_| damaged(start))?;
                if !count.is_within() {
                    return Err(ScoreError::TooMuch(line_of(text, start)));
                }
            }
            Err(_) => return Err(damaged(reader.error_position())),
        }
    }
    Ok(match kind {
        Some(kind) => Cow::Owned(without(text, kind)),
        None => Cow::Borrowed(text),
    })
}

impl Count {
    fn add(&mut self, event: &Event) -> Result<(), AttrError> {
        self.nodes += 1;
        match event {
            Event::Start(element) => {
                self.depth += 1;
                self.add_attributes(element)
            }
            Event::Empty(element) => self.add_attributes(element),
            Event::End(_) => {
                self.depth = self.depth.saturating_sub(1);
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn add_attributes(&mut self, element: &BytesStart) -> Result<(), AttrError> {
        let mut attributes = element.attributes();
        // That no two are alike is looked at later, when it is known that they are few.
        for (index, attribute) in attributes.with_checks(false).enumerate() {
            let attribute = attribute?;
            self.namespaces += usize::from(attribute.key.as_namespace_binding().is_some());
            if index >= MOST_ATTRIBUTES {
                self.nodes = u32::MAX;
                break;
            }
        }
        Ok(())
    }

    fn is_within(&self) -> bool {
        self.nodes <= MOST_NODES && self.namespaces <= MOST_NAMESPACES && self.depth <= DEEPEST
    }
}

fn without(text: &str, part: Range<usize>) -> String {
    let lines = text[part.clone()].chars().filter(|sign| *sign == '\n');
    let lines: String = lines.collect();
    [&text[..part.start], &lines, &text[part.end..]].concat()
}

/// From 1.
fn line_of(text: &str, at: u64) -> u32 {
    let before = text.bytes().take(at as usize);
    1 + before.filter(|byte| *byte == b'\n').count() as u32
}
