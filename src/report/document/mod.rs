//! A document: what a clinician hands on or files, in pieces that a page is made of. It is built once
//! and written twice, as PDF and as HTML, so that both say the same.

use serde::Serialize;

use super::view::Mark;

/// One document, ready to be laid out: finished words and pictures, no layout.
#[derive(Clone, Debug, Serialize)]
pub struct Document {
    pub title: String,
    /// Names and values of what the document is about, below its title.
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
    List(Vec<Line>),
    /// What has to be seen first, or is set apart.
    Box(Box<Boxed>),
    Table(Table),
    /// The same pose at two visits, or one photo alone.
    Photos(Photos),
    Picture(Picture),
    /// A drawing with what belongs to it beside it.
    Beside(Picture, Vec<Block>),
    /// To be filled in by hand: a name and room to write.
    Blank(String),
    /// Whatever follows begins on a new page.
    NewPage,
}

#[derive(Clone, Debug, Default, Serialize)]
pub struct Line {
    pub mark: Option<Mark>,
    /// In bold, before the text.
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

/// A drawing or a photo with lines on it, as an SVG that holds all it needs.
#[derive(Clone, Debug, Serialize)]
pub struct Picture {
    pub svg: String,
    /// The same in words, for who can't see it.
    pub alt: String,
}
