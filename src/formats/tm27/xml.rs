//! The XML of a TM-27 file, taken apart with more caution than XML asks for.
//!
//! Refused: a DTD, entities other than the five of XML itself (characters by number are read), processing instructions,
//! elements deeper than 8, more than 10 000 data points. Names count without their prefix. Elements that are not known
//! are let pass, as another edition may have more of them.
//!
//! What does not live here: what the elements mean (the module above).

use quick_xml::errors::{IllFormedError, SyntaxError};
use quick_xml::escape::resolve_predefined_entity;
use quick_xml::events::attributes::Attribute;
use quick_xml::events::{BytesDecl, BytesRef, BytesStart, Event};
use quick_xml::{Error, Reader, XmlVersion};

use super::super::Unfinished;

/// The deepest element; the root is the first.
const MAX_DEPTH: usize = 8;
/// The most data points.
const MAX_POINTS: usize = 10_000;

/// An element that holds a text.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Element {
    pub name: String,
    pub line: u64,
    /// Without the blanks around it.
    pub text: String,
    /// The attribute of this name.
    pub wavelength: Option<String>,
}

/// What stands in a file.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Document {
    /// The root's name without its prefix, its namespace and its version.
    pub root: String,
    pub namespace: Option<String>,
    pub version: Option<String>,
    pub line: u64,
    /// The elements of the header.
    pub header: Vec<Element>,
    /// The elements of the spectral distribution, its data points apart.
    pub distribution: Vec<Element>,
    pub points: Vec<Element>,
    /// The lines on which a spectral distribution begins.
    pub distributions: Vec<u64>,
}

/// Why a text is no such document.
#[derive(Debug)]
pub(super) enum Stop {
    Unfinished(Unfinished),
    Refused { line: u64, found: String, expected: String },
}

impl Stop {
    fn refused(line: u64, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Self::Refused { line, found: found.into(), expected: expected.into() }
    }
}

/// Takes a text apart; `is_root` says whether a root's name is one that is looked for.
pub(super) fn document(text: &str, is_root: impl Fn(&str) -> bool) -> Result<Document, Stop> {
    let mut reader = Reader::from_str(text);
    reader.config_mut().check_comments = true;
    let mut place = Place { text, at: 0, line: 1 };
    let mut walk = Walk { document: Document::default(), open: Vec::new(), is_begun: false, is_closed: false };
    loop {
        let line = place.line_of(reader.buffer_position());
        match reader.read_event() {
            Ok(Event::Eof) if walk.is_closed => return Ok(walk.document),
            Ok(Event::Eof) => {
                return Err(Stop::Unfinished(Unfinished::MidXml { line: place.line_of(text.len() as u64) }));
            }
            Ok(event) => walk.take(event, line, &is_root)?,
            Err(bad) if ends_early(&bad, &reader, text) => {
                return Err(Stop::Unfinished(Unfinished::MidXml { line: place.line_of(text.len() as u64) }));
            }
            Err(bad) => {
                let line = place.line_of(reader.error_position().max(place.at as u64));
                let found = place.text.lines().nth(line as usize - 1).unwrap_or_default().trim();
                return Err(Stop::refused(line, found, format!("XML: {}", reason(&bad))));
            }
        }
    }
}

/// Whether the reader was stopped by the end of the text.
fn ends_early(bad: &Error, reader: &Reader<&[u8]>, text: &str) -> bool {
    let is_at_end = reader.buffer_position() >= text.len() as u64;
    let rest = usize::try_from(reader.error_position()).ok().and_then(|at| text.get(at..));
    match bad {
        Error::Syntax(SyntaxError::InvalidBangMarkup) => rest == Some("<!"),
        Error::Syntax(_) if rest == Some("<") => true,
        Error::Syntax(_) | Error::IllFormed(IllFormedError::UnclosedReference) => is_at_end,
        _ => false,
    }
}

/// What is wrong with the XML, in words that do not speak of the end of the input.
fn reason(bad: &Error) -> String {
    match bad {
        Error::Syntax(SyntaxError::InvalidBangMarkup) => "<!-- and --> around a comment".to_owned(),
        Error::Syntax(_) => "tags, comments and declarations that are closed".to_owned(),
        Error::IllFormed(IllFormedError::UnclosedReference) => "&amp; for the sign &".to_owned(),
        Error::IllFormed(IllFormedError::MismatchedEndTag { expected, .. }) => format!("</{expected}>"),
        Error::IllFormed(IllFormedError::UnmatchedEndTag(_)) => "no end tag where nothing was begun".to_owned(),
        other => other.to_string(),
    }
}

/// Counts lines up to places that follow each other.
struct Place<'t> {
    text: &'t str,
    at: usize,
    line: u64,
}

impl Place<'_> {
    fn line_of(&mut self, to: u64) -> u64 {
        let to = usize::try_from(to).unwrap_or(usize::MAX).clamp(self.at, self.text.len());
        let between = self.text.as_bytes().get(self.at..to).unwrap_or_default();
        self.line += between.iter().filter(|byte| **byte == b'\n').count() as u64;
        self.at = to;
        self.line
    }
}

/// An element that is not closed yet.
struct Open {
    element: Element,
    place: Home,
}

/// Where the text of an element belongs.
#[derive(Clone, Copy, PartialEq)]
enum Home {
    Header,
    Distribution,
    Points,
    Nowhere,
}

struct Walk {
    document: Document,
    open: Vec<Open>,
    /// Whether anything but blanks was seen.
    is_begun: bool,
    /// Whether the root was closed.
    is_closed: bool,
}

impl Walk {
    fn take(&mut self, event: Event<'_>, line: u64, is_root: impl Fn(&str) -> bool) -> Result<(), Stop> {
        let is_blank = matches!(&event, Event::Text(text) if text.trim().is_empty());
        let is_first = !self.is_begun;
        self.is_begun |= !is_blank;
        match event {
            Event::Start(tag) => self.start(&tag, line, is_root),
            Event::Empty(tag) => {
                self.start(&tag, line, is_root)?;
                self.end();
                Ok(())
            }
            Event::End(_) => {
                self.end();
                Ok(())
            }
            Event::Text(text) => self.text(&text.xml10_content(), line),
            Event::CData(text) => self.text(&text.xml10_content(), line),
            Event::GeneralRef(name) => {
                let said = referred(&name, line)?;
                self.text(said.encode_utf8(&mut [0; 4]), line)
            }
            Event::Comment(_) | Event::Eof => Ok(()),
            Event::Decl(declaration) if is_first => declared(&declaration, line),
            Event::Decl(_) => {
                Err(Stop::refused(line, "an XML declaration", "it at the start of the file and nowhere else"))
            }
            Event::PI(instruction) => {
                let found = format!("a processing instruction '{}'", instruction.target());
                Err(Stop::refused(line, found, "none: instructions to programs are not followed"))
            }
            Event::DocType(name) if name.trim().to_ascii_lowercase().starts_with("html") => {
                Err(Stop::refused(0, "XML or HTML", super::ELSE))
            }
            Event::DocType(_) => {
                let expected = "none: no DTD is read, and no entity but those of XML itself";
                Err(Stop::refused(line, "a document type declaration", expected))
            }
        }
    }

    fn start(&mut self, tag: &BytesStart<'_>, line: u64, is_root: impl Fn(&str) -> bool) -> Result<(), Stop> {
        let name = tag.local_name().into_inner().to_owned();
        let depth = self.open.len() + 1;
        if self.is_closed {
            return Err(Stop::refused(line, format!("<{name}> after the end of the root"), "one root element"));
        }
        if depth > MAX_DEPTH {
            let expected = format!("elements at most {MAX_DEPTH} deep");
            return Err(Stop::refused(line, format!("<{name}> at depth {depth}"), expected));
        }
        if depth == 1 && !is_root(&name) {
            return Err(Stop::refused(0, format!("XML or HTML with the root <{name}>"), super::ELSE));
        }
        let prefix = tag.name().prefix().map(|prefix| prefix.into_inner().to_owned());
        let namespace = prefix.map_or_else(|| "xmlns".to_owned(), |prefix| format!("xmlns:{prefix}"));
        let mut wavelength = None;
        for attribute in tag.attributes() {
            let attribute = attribute.map_err(|bad| {
                Stop::refused(line, format!("the attributes of <{name}>"), format!("attributes as XML has them: {bad}"))
            })?;
            let value = value_of(&attribute, line)?;
            let key = attribute.key.into_inner();
            if depth == 1 && key == namespace {
                self.document.namespace = Some(value);
            } else if key == "xmlns" || key.starts_with("xmlns:") {
                continue;
            } else if depth == 1 && attribute.key.local_name().into_inner() == "version" {
                self.document.version = Some(value);
            } else if attribute.key.local_name().into_inner() == "wavelength" {
                wavelength = Some(value);
            }
        }
        let above = self.open.last().map_or("", |open| open.element.name.as_str());
        let place = match (depth, above, name.as_str()) {
            (3, "Header", _) => Home::Header,
            (3, "SpectralDistribution", "SpectralData") => Home::Points,
            (3, "SpectralDistribution", _) => Home::Distribution,
            _ => Home::Nowhere,
        };
        if place == Home::Points && self.document.points.len() == MAX_POINTS {
            let expected = "10 000 data points at most";
            return Err(Stop::refused(line, format!("data point {}", MAX_POINTS + 1), expected));
        }
        if depth == 1 {
            (self.document.root, self.document.line) = (name.clone(), line);
        } else if depth == 2 && name == "SpectralDistribution" {
            self.document.distributions.push(line);
        }
        self.open.push(Open { element: Element { name, line, text: String::new(), wavelength }, place });
        Ok(())
    }

    fn end(&mut self) {
        let Some(Open { mut element, place }) = self.open.pop() else { return };
        element.text = element.text.trim().to_owned();
        match place {
            Home::Header => self.document.header.push(element),
            Home::Distribution => self.document.distribution.push(element),
            Home::Points => self.document.points.push(element),
            Home::Nowhere => {}
        }
        self.is_closed = self.open.is_empty();
    }

    fn text(&mut self, text: &str, line: u64) -> Result<(), Stop> {
        match self.open.last_mut() {
            Some(open) if open.place != Home::Nowhere => open.element.text.push_str(text),
            None if !text.trim().is_empty() => {
                let blank = text.chars().take_while(|c| c.is_whitespace());
                let line = line + blank.filter(|c| *c == '\n').count() as u64;
                return Err(Stop::refused(line, text.trim(), "no text outside of the root element"));
            }
            _ => {}
        }
        Ok(())
    }
}

const FIVE: &str = "&lt; &gt; &amp; &quot; &apos; or a character by its number, like &#176;: no other entity is known";

/// The character that a reference in a text stands for.
fn referred(name: &BytesRef<'_>, line: u64) -> Result<char, Stop> {
    let by_name = || resolve_predefined_entity(name).and_then(|text| text.chars().next());
    let found = || format!("&{};", &**name);
    match name.resolve_char_ref() {
        Ok(Some(c)) if c.is_control() && !c.is_whitespace() => {
            Err(Stop::refused(line, found(), "no control characters"))
        }
        Ok(Some(c)) => Ok(c),
        Ok(None) => by_name().ok_or_else(|| Stop::refused(line, found(), FIVE)),
        Err(_) => Err(Stop::refused(line, found(), FIVE)),
    }
}

fn value_of(attribute: &Attribute<'_>, line: u64) -> Result<String, Stop> {
    let value = attribute.normalized_value(XmlVersion::Implicit1_0);
    value.map(|value| value.trim().to_owned()).map_err(|_| Stop::refused(line, attribute.value.as_ref(), FIVE))
}

/// Refuses a declaration of another encoding: the bytes were already read as UTF-8.
fn declared(declaration: &BytesDecl<'_>, line: u64) -> Result<(), Stop> {
    match declaration.encoding() {
        Some(Ok(found)) if !["utf-8", "utf8", "us-ascii"].contains(&found.to_ascii_lowercase().as_str()) => {
            Err(Stop::refused(line, format!("encoding=\"{found}\""), "UTF-8: save or export the file again, in UTF-8"))
        }
        Some(Err(bad)) => Err(Stop::refused(line, "an XML declaration", format!("attributes as XML has them: {bad}"))),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Document, Stop> {
        document(text, |name| name == "r")
    }

    #[test]
    fn elements_are_found_at_their_places() {
        let text = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- a -->\n<p:r xmlns:p=\"n\" version=\"1.0\">\n<p:Header><Description> a&#176; \
                    &amp;<![CDATA[<b>]]> </Description><Other><Header><Comments>no</Comments></Header></Other></p:Header>\n\
                    <SpectralDistribution><SpectralData p:wavelength=\" 380 \">1</SpectralData><X/></SpectralDistribution></p:r>\n";
        let document = read(text).unwrap();
        assert_eq!(
            (document.root.as_str(), document.namespace.as_deref(), document.version.as_deref()),
            ("r", Some("n"), Some("1.0"))
        );
        assert_eq!((document.line, document.distributions), (3, vec![5]));
        assert_eq!((document.header[0].text.as_str(), document.header[0].line), ("a\u{b0} &<b>", 4));
        assert_eq!(document.header.len(), 2, "{:?}", document.header);
        assert_eq!(document.points[0].wavelength.as_deref(), Some("380"));
        assert_eq!(document.distribution[0].name, "X");
    }

    #[test]
    fn a_text_cut_anywhere_waits() {
        let text = "<?xml version=\"1.0\"?><!-- <a> --><r a='x>y' b=\"1\"><Header a=\"&lt;\">x &amp;<![CDATA[ > ]]> &#65;</Header><b/>\
                    <!---->\u{e9}</r >";
        for end in (0..text.len()).filter(|end| text.is_char_boundary(*end)) {
            let outcome = read(&text[..end]);
            assert!(matches!(outcome, Err(Stop::Unfinished(_))), "{:?}: {outcome:?}", &text[..end]);
        }
        assert!(read(text).is_ok());
        assert!(read(&format!("{text}\n<!-- end -->\n")).is_ok());
    }
}
