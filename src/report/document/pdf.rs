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

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::report::document::{
        Block, Boxed, Captioned, Cell, Column, Diary, DiaryRow, Key, Line, Photos, Picture, Shot,
        Table, Tone,
    };

    const DAY: Date = date(2026, 8, 11);

    fn drawing() -> Picture {
        let svg = "<svg viewBox=\"0 0 20 10\"><path class=\"line\" d=\"M0 0H20\"/></svg>";
        Picture::new(svg, ".line { stroke: #000; }", "A line")
    }

    fn document(blocks: Vec<Block>) -> Document {
        Document {
            title: "A title".to_owned(),
            facts: vec![
                ("Case".to_owned(), "demo-01".to_owned()),
                ("Next visit".to_owned(), String::new()),
            ],
            blocks,
            foot: "demo-01 2026-08-11".to_owned(),
            at_home: false,
            program: "tragus 0.0.0".to_owned(),
        }
    }

    /// One of each, so that the template is known to know it.
    fn all_blocks() -> Vec<Block> {
        let words = || "Words".to_owned();
        let line = || Line {
            mark: Some(Mark::Worse),
            source: Some(words()),
            ..Line::led("Lead:", "text")
        };
        let shot = |picture| Shot {
            caption: words(),
            picture,
            notes: vec![words()],
        };
        let cell = |mark| Cell {
            mark,
            text: "41.4 ± 2.4°".to_owned(),
            note: Some(words()),
        };
        let column = |is_number| Column {
            head: words(),
            is_number,
        };
        vec![
            Block::Heading(words()),
            Block::Paragraph(words()),
            Block::Line(line()),
            Block::Framed(line()),
            Block::List(vec![line(), Line::plain("plain")]),
            Block::Steps(vec![words(), words()]),
            Block::Box(Box::new(Boxed {
                tone: Tone::Stop,
                title: words(),
                blocks: vec![Block::Paragraph(words())],
            })),
            Block::Table(Table {
                about: words(),
                columns: vec![column(false), column(true), column(false)],
                rows: Mark::ALL
                    .map(|mark| vec![cell(None), cell(None), cell(Some(mark))])
                    .to_vec(),
            }),
            Block::Photos(Photos {
                title: words(),
                aside: Some(words()),
                shots: vec![shot(Ok(drawing())), shot(Err(words()))],
            }),
            Block::Picture(drawing()),
            Block::Gallery(vec![Captioned {
                title: words(),
                about: words(),
                keys: vec![Key {
                    picture: drawing(),
                    name: words(),
                }],
                picture: drawing(),
            }]),
            Block::Beside(drawing(), vec![Block::Heading(words())]),
            Block::Large(vec![Block::Blank(words())]),
            Block::Blank(words()),
            Block::Room(words()),
            Block::Diary(Diary {
                title: words(),
                days: vec![words(); 7],
                rows: vec![
                    DiaryRow {
                        name: words(),
                        boxes: 2,
                    },
                    DiaryRow {
                        name: words(),
                        boxes: 0,
                    },
                ],
            }),
            Block::NewPage,
            Block::Paragraph(words()),
        ]
    }

    fn holds(bytes: &[u8], words: &str) -> bool {
        bytes
            .windows(words.len())
            .any(|window| window == words.as_bytes())
    }

    #[test]
    fn every_piece_is_set_on_both_papers_and_at_home() {
        for at_home in [false, true] {
            let document = Document {
                at_home,
                ..document(all_blocks())
            };
            for paper in [Paper::A4, Paper::Letter] {
                let bytes = pdf(&document, paper, DAY).expect("a PDF");
                assert!(bytes.starts_with(b"%PDF-1.7"));
                for claim in [
                    "<pdfaid:part>2</pdfaid:part>",
                    "<pdfaid:conformance>A</pdfaid:conformance>",
                    "<pdfuaid:part>1</pdfuaid:part>",
                ] {
                    assert!(holds(&bytes, claim), "{claim}");
                }
            }
        }
    }

    #[test]
    fn the_same_document_gives_the_same_bytes_and_another_day_others() {
        let document = document(all_blocks());
        let set = |day| pdf(&document, Paper::A4, day).expect("a PDF");
        assert_eq!(set(DAY), set(DAY));
        assert_ne!(set(DAY), set(date(2026, 8, 12)));
    }

    #[test]
    fn words_are_never_read_as_markup() {
        let hostile = "#panic(\"x\") *b* _i_ $x$ <a> @b \\ // /* ` = - + https://x.y";
        let mut document = document(vec![Block::Paragraph(hostile.to_owned())]);
        document.title = hostile.to_owned();
        document.foot = hostile.to_owned();
        pdf(&document, Paper::A4, DAY).expect("a PDF");
    }

    #[test]
    fn a_character_that_no_font_has_is_a_box() {
        assert_eq!(printable("Łódź ± 2° √ → αβ"), "Łódź\u{a0}±\u{a0}2° √ → αβ");
        assert_eq!(printable("漢\u{e000}\u{7}\n"), "□□  ");
        let document = document(vec![Block::Paragraph("漢字 \u{e000}\u{7}".to_owned())]);
        pdf(&document, Paper::A4, DAY).expect("a PDF");
    }
}
