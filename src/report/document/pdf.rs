//! A document as PDF, set by Typst from the fonts in the program: tagged for whoever can't see the
//! page (PDF/UA-1), and whole in itself for as long as it has to be kept (PDF/A-2a). The same
//! document gives the same bytes.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use jiff::civil::Date;
use serde::Serialize;
use serde_json::Value;
use thiserror::Error;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Feature, Library, LibraryExt, World};
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use super::Document;
use crate::report::html::unbroken;
use crate::report::sign::sign_svg;
use crate::report::view::Mark;

const TEMPLATE: &str = include_str!("template.typ");

/// What a document is printed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Paper {
    #[serde(rename = "a4")]
    A4,
    #[serde(rename = "us-letter")]
    Letter,
}

#[derive(Debug, Error)]
#[error("the document could not be set as PDF: {0}")]
pub struct PdfError(String);

/// The document as the bytes of a file, which says that it was written on this day.
pub fn pdf(document: &Document, paper: Paper, written: Date) -> Result<Vec<u8>, PdfError> {
    let signs = Mark::ALL.map(|mark| {
        let name = serde_json::to_value(mark).map_err(|error| PdfError(error.to_string()))?;
        let name = name.as_str().unwrap_or_default().to_owned();
        Ok((name, sign_svg(mark)))
    });
    let data = Data {
        document,
        paper,
        day: (written.year(), written.month(), written.day()),
        signs: signs.into_iter().collect::<Result<_, PdfError>>()?,
    };
    let desk = Desk::new(&data).map_err(|error| PdfError(error.to_string()))?;
    let bytes = desk.set();
    // Typst keeps what it worked out, photos included, for a next time that does not come.
    typst::comemo::evict(0);
    bytes
}

/// What the template reads.
#[derive(Serialize)]
struct Data<'a> {
    document: &'a Document,
    paper: Paper,
    day: (i16, i8, i8),
    signs: BTreeMap<String, String>,
}

/// All that Typst gets to see: the template, the data, the fonts. It asks for nothing else.
struct Desk {
    main: Source,
    data: Bytes,
}

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| {
    // What a table is about, and which of its cells name their row.
    let features = [Feature::A11yExtras].into_iter().collect();
    LazyHash::new(Library::builder().with_features(features).build())
});

static FONTS: LazyLock<Vec<Font>> = LazyLock::new(|| {
    typst_assets::fonts()
        .flat_map(|file| Font::iter(Bytes::new(file)))
        .collect()
});

static BOOK: LazyLock<LazyHash<FontBook>> =
    LazyLock::new(|| LazyHash::new(FontBook::from_fonts(FONTS.iter())));

impl Desk {
    fn new(data: &Data) -> Result<Desk, serde_json::Error> {
        let mut data = serde_json::to_value(data)?;
        make_printable(&mut data);
        Ok(Desk {
            main: Source::new(file("main.typ"), TEMPLATE.to_owned()),
            data: Bytes::new(serde_json::to_vec(&data)?),
        })
    }

    fn set(&self) -> Result<Vec<u8>, PdfError> {
        let standards = [PdfStandard::A_2a, PdfStandard::Ua_1];
        let options = PdfOptions {
            creator: Smart::Custom(None),
            standards: PdfStandards::new(&standards)
                .map_err(|error| PdfError(error.message().to_string()))?,
            ..PdfOptions::default()
        };
        let compiled = typst::compile(self)
            .output
            .map_err(|errors| PdfError(told(&errors)))?;
        typst_pdf::pdf(&compiled, &options).map_err(|errors| PdfError(told(&errors)))
    }
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &BOOK
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        match id == self.main.id() {
            true => Ok(self.main.clone()),
            false => Err(FileError::AccessDenied),
        }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        match id == file("data.json") {
            true => Ok(self.data.clone()),
            false => Err(FileError::AccessDenied),
        }
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.get(index).cloned()
    }

    /// No clock.
    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

fn file(name: &str) -> FileId {
    let path = VirtualPath::new(name).expect("a plain name");
    RootedPath::new(VirtualRoot::Project, path).intern()
}

fn told(errors: &[SourceDiagnostic]) -> String {
    let messages: Vec<&str> = errors.iter().map(|error| error.message.as_str()).collect();
    messages.join("; ")
}

/// Keeps numbers and their units together, and puts a box in the place of every character that no font
/// has: one of them would make the file what it must not be.
fn make_printable(value: &mut Value) {
    match value {
        Value::String(words) => *words = printable(words),
        Value::Array(values) => values.iter_mut().for_each(make_printable),
        Value::Object(fields) => {
            for (name, value) in fields {
                match value {
                    Value::String(svg) if name == "svg" => *svg = with_known_letters(svg),
                    value => make_printable(value),
                }
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

fn printable(words: &str) -> String {
    unbroken(&with_known_letters(words))
}

fn with_known_letters(words: &str) -> String {
    const UNKNOWN: char = '□';
    let known = |c: char| c.is_ascii() || is_known(c);
    words
        .chars()
        .map(|c| match c {
            c if c.is_control() => ' ',
            c if known(c) => c,
            _ => UNKNOWN,
        })
        .collect()
}

fn is_known(c: char) -> bool {
    let is_private = matches!(c, '\u{e000}'..='\u{f8ff}' | '\u{f0000}'..);
    let mut fonts = FONTS.iter();
    !is_private && fonts.any(|font| font.info().coverage.contains(u32::from(c)))
}
