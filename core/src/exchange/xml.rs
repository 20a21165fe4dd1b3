//! XML as it grows, for scores and pictures: elements that open and close, texts that are escaped.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// A document in memory. Writing there does not fail, so the results are passed over.
pub(super) struct Xml(Writer<Vec<u8>>);

/// Names and values.
pub(super) type Attributes<'a> = &'a [(&'a str, &'a str)];

impl Xml {
    pub fn new() -> Self {
        Self(Writer::new_with_indent(Vec::new(), b' ', 1))
    }

    /// One that says what it is before it begins.
    pub fn with_doctype(doctype: &str) -> Self {
        let mut xml = Self::new();
        xml.event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        xml.event(Event::DocType(BytesText::from_escaped(doctype)));
        xml
    }

    /// An element with others inside.
    pub fn within(&mut self, name: &str, attributes: Attributes, inside: impl FnOnce(&mut Self)) {
        self.event(Event::Start(start(name, attributes)));
        inside(self);
        self.event(Event::End(BytesEnd::new(name)));
    }

    /// An element with a text inside.
    pub fn text(&mut self, name: &str, attributes: Attributes, text: &str) {
        self.event(Event::Start(start(name, attributes)));
        // XML knows no control characters but these.
        let known = |c: &char| !c.is_control() || matches!(c, '\n' | '\t');
        let text: String = text.chars().filter(known).collect();
        self.event(Event::Text(BytesText::new(&text)));
        self.event(Event::End(BytesEnd::new(name)));
    }

    /// A number.
    pub fn number(&mut self, name: &str, number: impl ToString) {
        self.text(name, &[], &number.to_string());
    }

    /// An element with nothing inside.
    pub fn empty(&mut self, name: &str, attributes: Attributes) {
        self.event(Event::Empty(start(name, attributes)));
    }

    pub fn finish(self) -> String {
        let mut text = String::from_utf8_lossy(&self.0.into_inner()).into_owned();
        text.push('\n');
        text
    }

    fn event(&mut self, event: Event) {
        let _ = self.0.write_event(event);
    }
}

fn start<'a>(name: &'a str, attributes: Attributes<'a>) -> BytesStart<'a> {
    BytesStart::new(name).with_attributes(attributes.iter().copied())
}
