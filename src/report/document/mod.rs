//! A document: what a clinician hands on or files, in pieces that a page is made of. It is built once
//! and written twice, as PDF and as HTML, so that both say the same.

mod comparison;
mod course;
mod html;
mod letter;
mod pdf;
mod photos;
#[cfg(test)]
mod samples;
mod standing;
mod visit_note;

use serde::Serialize;

use super::view::Mark;

pub use comparison::comparison;
pub use course::{Course, course};
pub use html::html;
pub use letter::{Letter, letter};
pub use pdf::{Paper, PdfError, pdf};
pub use standing::AtHome;
pub use visit_note::{VisitNote, visit_note};

/// One document, ready to be laid out: finished words and pictures, no layout.
#[derive(Clone, Debug, Serialize)]
pub struct Document {
    pub title: String,
    /// Names and values of what the document is about, below its title; an empty value is to be filled
    /// in by hand.
    pub facts: Vec<(String, String)>,
    pub blocks: Vec<Block>,
    /// At the foot of every page, beside its number: whose document it is, and of which day.
    pub foot: String,
    /// Whether it is for a person at home: larger type.
    pub at_home: bool,
    /// Name and version of the program.
    pub program: String,
}

/// A piece of a document. None of those with pictures and no row of a table is split by a page's end.
#[derive(Clone, Debug, Serialize)]
#[serde(rename_all = "snake_case", tag = "is", content = "of")]
pub enum Block {
    Heading(String),
    Paragraph(String),
    /// A paragraph that may begin with a sign or in bold.
    Line(Line),
    /// The same in a frame of its own.
    Framed(Line),
    List(Vec<Line>),
    /// One after the other, numbered.
    Steps(Vec<String>),
    /// What has to be seen first, or is set apart.
    Box(Box<Boxed>),
    Table(Table),
    /// The same pose at two visits, or one photo alone.
    Photos(Photos),
    Picture(Picture),
    /// Small pictures beside each other.
    Gallery(Vec<Captioned>),
    /// A drawing with what belongs to it beside it.
    Beside(Picture, Vec<Block>),
    /// In type that is read across a room.
    Large(Vec<Block>),
    /// To be filled in by hand: a name and room to write.
    Blank(String),
    /// The same with several lines.
    Room(String),
    Diary(Diary),
    /// Whatever follows begins on a new page.
    NewPage,
    /// The whole document stands on one page, in smaller type where it has to.
    OnePage,
}

#[derive(Clone, Debug, Default, Serialize)]
pub struct Line {
    pub mark: Option<Mark>,
    /// In bold, before the text, with the colon or stop that it ends in.
    pub lead: Option<String>,
    pub text: String,
    /// Quietly, after it: where it is from.
    pub source: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tone {
    /// Stop, ask or refer first.
    Stop,
    Caution,
    Plain,
}

#[derive(Clone, Debug, Serialize)]
pub struct Boxed {
    pub tone: Tone,
    pub title: String,
    pub blocks: Vec<Block>,
}

#[derive(Clone, Debug, Serialize)]
pub struct Table {
    /// What the table shows, for who can't see it.
    pub about: String,
    pub columns: Vec<Column>,
    pub rows: Vec<Vec<Cell>>,
}

#[derive(Clone, Debug, Serialize)]
pub struct Column {
    pub head: String,
    pub is_number: bool,
}

#[derive(Clone, Debug, Default, Serialize)]
pub struct Cell {
    pub mark: Option<Mark>,
    pub text: String,
    /// Small, below it.
    pub note: Option<String>,
}

/// Days to be filled in by hand.
#[derive(Clone, Debug, Serialize)]
pub struct Diary {
    /// Before the room for the day that it begins on.
    pub title: String,
    /// What the days are called, from left to right.
    pub days: Vec<String>,
    pub rows: Vec<DiaryRow>,
}

#[derive(Clone, Debug, Serialize)]
pub struct DiaryRow {
    pub name: String,
    /// To be ticked on each day; none where a number or a word goes.
    pub boxes: u8,
}

#[derive(Clone, Debug, Serialize)]
pub struct Photos {
    pub title: String,
    pub aside: Option<String>,
    pub shots: Vec<Shot>,
}

#[derive(Clone, Debug, Serialize)]
pub struct Shot {
    pub caption: String,
    /// Or why there is none.
    pub picture: Result<Picture, String>,
    /// Values and how the camera stood.
    pub notes: Vec<String>,
}

/// A small picture with what it shows above it.
#[derive(Clone, Debug, Serialize)]
pub struct Captioned {
    pub title: String,
    pub about: String,
    /// What is drawn how.
    pub keys: Vec<Key>,
    pub picture: Picture,
}

#[derive(Clone, Debug, Serialize)]
pub struct Key {
    pub picture: Picture,
    pub name: String,
}

/// A drawing or a photo with lines on it, as an SVG that holds all it needs.
#[derive(Clone, Debug, Serialize)]
pub struct Picture {
    pub svg: String,
    /// The same in words, for who can't see it.
    pub alt: String,
}

const NAMESPACE: &str = " xmlns=\"http://www.w3.org/2000/svg\"";

impl Picture {
    /// A drawing of a page (an `svg` element), with the style that it is drawn by put into it.
    pub fn new(svg: &str, style: &str, alt: impl Into<String>) -> Picture {
        let (open, rest) = svg.split_once('>').expect("an element");
        Picture {
            svg: format!("{open}{NAMESPACE}><style>{style}</style>{rest}"),
            alt: alt.into(),
        }
    }

    /// The drawing as a part of a page, which needs no name of its language.
    fn on_page(&self) -> String {
        self.svg.replacen(NAMESPACE, "", 1)
    }
}

impl Line {
    pub fn plain(text: impl Into<String>) -> Line {
        Line {
            text: text.into(),
            ..Line::default()
        }
    }

    pub fn led(lead: impl Into<String>, text: impl Into<String>) -> Line {
        Line {
            lead: Some(lead.into()),
            ..Line::plain(text)
        }
    }
}

pub(super) fn paragraph(words: impl Into<String>) -> Block {
    Block::Paragraph(words.into())
}

pub(super) fn list(lines: impl IntoIterator<Item = impl Into<String>>) -> Block {
    Block::List(lines.into_iter().map(Line::plain).collect())
}

pub(super) fn boxed(tone: Tone, title: &str, blocks: Vec<Block>) -> Block {
    Block::Box(Box::new(Boxed {
        tone,
        title: title.to_owned(),
        blocks,
    }))
}
