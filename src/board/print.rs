//! The board as a PDF at true size, with how to print, check and hang it on a second page.

use pdf_writer::{Content, Name, Pdf, Rect, Ref, Str};

use super::layout::{GAP, HEIGHT, MODULE, TAG, WIDTH, patterns};

/// The paper, upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    A4,
    Letter,
}

impl Paper {
    /// Width and height, mm.
    pub const fn size(self) -> (f64, f64) {
        match self {
            Paper::A4 => (210.0, 297.0),
            Paper::Letter => (215.9, 279.4),
        }
    }
}

/// A filled rectangle in millimetres from the paper's lower left corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ink {
    pub left: f64,
    pub bottom: f64,
    pub width: f64,
    pub height: f64,
}

/// Length of the line that a ruler is held to, mm.
pub const CHECK_LINE: f64 = 100.0;
/// Thickness of lines, mm.
const LINE: f64 = 0.3;
/// Points in a millimetre.
const POINTS: f64 = 72.0 / 25.4;
const FONT: Name<'static> = Name(b"F1");
const SMALL: f64 = 8.0;
const BODY: f64 = 11.0;
const HEADING: f64 = 16.0;
/// Edge of a page that is left empty, mm, and characters that fit between two of them.
const MARGIN: f64 = 20.0;
const COLUMNS: usize = 84;

const ON_THE_BOARD: [&str; 2] = [
    "tragus board. Print at 100 %, never \"fit to page\". The line at the right is 100 mm long: hold a ruler to it.",
    "Hang it by the edge marked TOP. Keep the white around the squares free. How to hang it: next page.",
];

const HOW_TO: [(&str, &[&str]); 4] = [
    (
        "Print and check",
        &[
            "Print the first page at 100 % (\"actual size\"), on one side of matt paper.",
            "Hold a ruler to the check line. Between its end marks there must be 100 mm, to half a \
             millimetre; if not, turn off every scaling in the printer's window and print again.",
        ],
    ),
    (
        "Make it flat",
        &[
            "Glue the whole page to stiff, flat card or foam board. A bent board gives a wrong scale \
             and is refused.",
            "Don't laminate it: glare hides the squares.",
        ],
    ),
    (
        "Hang it",
        &[
            "Hang it by one string or clip at the middle of the edge marked TOP, from a stand or the \
             hand of someone who helps, so that it hangs freely. Wait until it is still: its long \
             edge is taken for the vertical.",
            "It hangs beside the person's hip, in line with the body as it stands to the camera, and \
             faces the camera. It must not touch the person or the wall.",
            "If it hangs nearer to the camera or farther than that line, measure by how much and note \
             it with the photo.",
        ],
    ),
    (
        "Photograph",
        &[
            "The whole board is in the picture, sharp, with nothing over it, and only one board.",
            "Turn off the camera's mirroring. A mirrored photo is refused.",
            "The person comes first: nobody has to reach or hold a pose longer for the board. Stop on sharp \
             pain, pinching, dizziness or new swelling.",
        ],
    ),
];

/// The board as bytes of a PDF.
pub fn pdf(paper: Paper) -> Vec<u8> {
    let mut ids = (1..).map(Ref::new);
    let mut id = || ids.next().expect("references without end");
    let (catalog, tree, font) = (id(), id(), id());
    let pages = [front(paper), instructions(paper)].map(|content| (id(), id(), content));
    let mut pdf = Pdf::new();
    pdf.catalog(catalog).pages(tree);
    pdf.pages(tree)
        .kids(pages.iter().map(|(page, ..)| *page))
        .count(pages.len() as i32);
    let (width, height) = paper.size();
    for (page, stream, content) in pages {
        let mut page = pdf.page(page);
        page.media_box(Rect::new(0.0, 0.0, points(width), points(height)));
        page.parent(tree).contents(stream);
        page.resources().fonts().pair(FONT, font);
        drop(page);
        pdf.stream(stream, &content.finish());
    }
    pdf.type1_font(font).base_font(Name(b"Helvetica"));
    pdf.finish()
}

fn points(millimetres: f64) -> f32 {
    (millimetres * POINTS) as f32
}

/// All that is printed black on the board besides words, the check line last: its line, then its
/// end marks.
pub fn ink(paper: Paper) -> Vec<Ink> {
    let (width, height) = paper.size();
    let (left, top) = ((width - WIDTH) / 2.0, (height + HEIGHT) / 2.0);
    let mut ink = Vec::new();
    for (index, pattern) in patterns().iter().enumerate() {
        let top = top - index as f64 * (TAG + GAP);
        for (row, squares) in pattern.iter().enumerate() {
            let mut from = 0;
            // Neighbours in one piece, so that no seam is drawn between them.
            for run in squares.chunk_by(|a, b| a == b) {
                if !run[0] {
                    ink.push(Ink {
                        left: left + from as f64 * MODULE,
                        bottom: top - (row + 1) as f64 * MODULE,
                        width: run.len() as f64 * MODULE,
                        height: MODULE,
                    });
                }
                from += run.len();
            }
        }
    }
    let right = check_line_at(paper);
    let bottom = (height - CHECK_LINE) / 2.0;
    ink.push(Ink {
        left: right - LINE / 2.0,
        bottom,
        width: LINE,
        height: CHECK_LINE,
    });
    // The outer edges of the marks are 100 mm apart.
    for bottom in [bottom, bottom + CHECK_LINE - LINE] {
        ink.push(Ink {
            left: right - 3.0,
            bottom,
            width: 6.0,
            height: LINE,
        });
    }
    ink
}

/// The middle of what is white to the right of the tags, farther out by half a square.
fn check_line_at(paper: Paper) -> f64 {
    let (width, _) = paper.size();
    (3.0 * width + WIDTH) / 4.0 + MODULE / 2.0
}

fn front(paper: Paper) -> Content {
    let mut content = Content::new();
    // One path, so that rows that touch are filled without a seam.
    for ink in ink(paper) {
        content.rect(
            points(ink.left),
            points(ink.bottom),
            points(ink.width),
            points(ink.height),
        );
    }
    content.fill_nonzero();
    let (width, height) = paper.size();
    let from_bottom = (height - HEIGHT) / 2.0;
    for (line, text) in ON_THE_BOARD.iter().enumerate() {
        // Upwards, along the left edge.
        let right = width - check_line_at(paper) + 4.5 * line as f64 - 2.0;
        write(
            &mut content,
            text,
            SMALL,
            [0.0, 1.0, -1.0, 0.0, right, from_bottom],
        );
    }
    let top = [
        1.0,
        0.0,
        0.0,
        1.0,
        width - check_line_at(paper) - 4.0,
        height - 14.0,
    ];
    write(&mut content, "TOP", BODY, top);
    let (right, middle) = (check_line_at(paper) + 6.0, height / 2.0 - 9.0);
    write(
        &mut content,
        "100 mm",
        SMALL,
        [0.0, 1.0, -1.0, 0.0, right, middle],
    );
    content
}

fn instructions(paper: Paper) -> Content {
    let mut content = Content::new();
    let (_, height) = paper.size();
    let mut from_bottom = height - MARGIN - 6.0;
    let mut line = |text: &str, size: f64, lead: f64| {
        from_bottom -= lead;
        write(
            &mut content,
            text,
            size,
            [1.0, 0.0, 0.0, 1.0, MARGIN, from_bottom],
        );
    };
    line("The tragus board", HEADING, 0.0);
    for (heading, paragraphs) in HOW_TO {
        line(heading, BODY + 2.0, 12.0);
        for paragraph in paragraphs {
            for (index, text) in textwrap::wrap(paragraph, COLUMNS).iter().enumerate() {
                line(text, BODY, if index == 0 { 7.0 } else { 5.0 });
            }
        }
    }
    content
}

/// Writes a line of text; `place` turns it and puts its start on the page, mm.
fn write(content: &mut Content, text: &str, size: f64, place: [f64; 6]) {
    let [a, b, c, d, right, up] = place;
    content.begin_text();
    content.set_font(FONT, size as f32);
    content.set_text_matrix([
        a as f32,
        b as f32,
        c as f32,
        d as f32,
        points(right),
        points(up),
    ]);
    content.show(Str(text.as_bytes()));
    content.end_text();
}
