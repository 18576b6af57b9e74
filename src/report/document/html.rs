//! A document as one HTML file: no script, nothing fetched. It reads on a phone and prints on paper.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{
    Block, Boxed, Captioned, Cell, Column, Diary, Document, Line, Photos, Picture, Shot, Table,
    Tone,
};
use crate::report::html::{STYLE, css_string, page_metas, unbroken};
use crate::report::sign::{sign, signs};

/// What is unlike the comparison report, or like it at home too.
const PIECES: &str = include_str!("document.css");
const AT_HOME: &str = include_str!("at_home.css");

/// The whole page.
pub fn html(document: &Document) -> String {
    let main = html! { @for block in &document.blocks { (self::block(block)) } };
    let main = main.into_string();
    let base = if document.at_home { AT_HOME } else { STYLE };
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                (page_metas(&document.program))
                title { (document.title) ": " (document.foot) }
                style { (PreEscaped(base)) (PreEscaped(PIECES)) (PreEscaped(page_footer(&document.foot))) }
            }
            body {
                @if main.contains("#sign-") { (signs()) }
                header {
                    h1 { (document.title) }
                    (facts(&document.facts))
                }
                main { (PreEscaped(main)) }
                footer { p { "Written by " (document.program) "." } }
            }
        }
    };
    page.into_string()
}

/// The foot of every printed page: whose it is, of which day, and which page.
fn page_footer(foot: &str) -> String {
    format!(
        "@page {{ @bottom-left {{ content: {}; font: 9pt sans-serif; }} \
         @bottom-right {{ content: counter(page) \"/\" counter(pages); font: 9pt sans-serif; }} }}",
        css_string(foot)
    )
}

fn facts(facts: &[(String, String)]) -> Markup {
    html! {
        dl.facts {
            @for (name, value) in facts {
                div {
                    dt { (name) }
                    @if value.is_empty() { dd.blank {} } @else { dd { (value) } }
                }
            }
        }
    }
}

fn block(block: &Block) -> Markup {
    match block {
        Block::Heading(words) => html! { h2 { (words) } },
        Block::Paragraph(words) => html! { p { (unbroken(words)) } },
        Block::Line(line) => html! { p { (said(line)) } },
        Block::Framed(line) => html! { p.framed { (said(line)) } },
        Block::List(lines) => list(lines),
        Block::Steps(steps) => html! { ol { @for step in steps { li { (step) } } } },
        Block::Box(boxed) => self::boxed(boxed),
        Block::Table(table) => self::table(table),
        Block::Photos(photos) => self::photos(photos),
        Block::Picture(picture) => html! { div.picture { (drawn(picture)) } },
        Block::Gallery(all) => html! {
            div.charts { @for of in all { (captioned(of)) } }
        },
        Block::Beside(picture, blocks) => html! {
            section.beside {
                div.picture { (drawn(picture)) }
                div { @for block in blocks { (self::block(block)) } }
            }
        },
        Block::Large(blocks) => html! {
            div.large { @for block in blocks { (self::block(block)) } }
        },
        Block::Blank(name) => html! { p.blank-line { (name) ": " span.blank {} } },
        Block::Room(name) => html! { div.room { p { (name) ":" } } },
        Block::Diary(diary) => self::diary(diary),
        Block::NewPage => html! { div.new-page {} },
        // A browser breaks pages as it likes.
        Block::OnePage => html! {},
    }
}

fn said(line: &Line) -> Markup {
    html! {
        @if let Some(mark) = line.mark { (sign(mark)) " " }
        (words(line))
    }
}

fn words(line: &Line) -> Markup {
    html! {
        @if let Some(lead) = &line.lead { b { (lead) } " " }
        (unbroken(&line.text))
        @if let Some(source) = &line.source { " " small { (source) } }
    }
}

/// A sign takes the place of the dot.
fn list(lines: &[Line]) -> Markup {
    html! {
        ul {
            @for line in lines {
                @match line.mark {
                    Some(mark) => li.signed { (sign(mark)) span { (words(line)) } },
                    None => li { (words(line)) },
                }
            }
        }
    }
}

fn boxed(boxed: &Boxed) -> Markup {
    let tone = match boxed.tone {
        Tone::Stop => "stop",
        Tone::Caution => "caution",
        Tone::Plain => "plain",
    };
    html! {
        section.box.(tone) {
            h2 { (boxed.title) }
            @for block in &boxed.blocks { (self::block(block)) }
        }
    }
}

fn table(table: &Table) -> Markup {
    html! {
        div.wide tabindex="0" role="region" aria-label=(table.about) {
            table.of-document {
                thead {
                    tr {
                        @for column in &table.columns {
                            th class=[column.class()] scope="col" { (column.head) }
                        }
                    }
                }
                tbody {
                    @for row in &table.rows {
                        tr {
                            @for (column, cell) in table.columns.iter().zip(row) {
                                td class=[column.class()] data-label=(column.head) {
                                    (self::cell(cell))
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

impl Column {
    fn class(&self) -> Option<&'static str> {
        self.is_number.then_some("number")
    }
}

fn cell(cell: &Cell) -> Markup {
    html! {
        span {
            @if let Some(mark) = cell.mark { (sign(mark)) " " }
            (unbroken(&cell.text))
            @if let Some(note) = &cell.note { small { (note) } }
        }
    }
}

fn photos(photos: &Photos) -> Markup {
    html! {
        article.pair {
            h3 { (photos.title) }
            @if let Some(aside) = &photos.aside { p.aside { (aside) } }
            div.shots { @for shot in &photos.shots { (self::shot(shot)) } }
        }
    }
}

fn shot(shot: &Shot) -> Markup {
    html! {
        figure {
            @match &shot.picture {
                Ok(picture) => (drawn(picture)),
                Err(reason) => div.empty { p { (reason) } },
            }
            figcaption {
                b { (shot.caption) }
                @if !shot.notes.is_empty() {
                    ul.values { @for note in &shot.notes { li { (unbroken(note)) } } }
                }
            }
        }
    }
}

fn captioned(of: &Captioned) -> Markup {
    html! {
        figure {
            figcaption {
                h3 { (of.title) }
                p { (of.about) }
                p.keys {
                    @for key in &of.keys { span { (drawn(&key.picture)) (key.name) } }
                }
            }
            (drawn(&of.picture))
        }
    }
}

fn drawn(picture: &Picture) -> Markup {
    PreEscaped(picture.on_page())
}

fn diary(diary: &Diary) -> Markup {
    html! {
        table.diary {
            caption { (diary.title) " " span.blank {} }
            thead {
                tr {
                    th scope="col" { "Day" }
                    @for day in &diary.days { th scope="col" { (day) } }
                }
            }
            tbody {
                @for row in &diary.rows {
                    tr {
                        th scope="row" { (row.name) }
                        @for _ in &diary.days {
                            td { @for _ in 0..row.boxes { span.tick {} } }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::document::{DiaryRow, boxed, list, paragraph};
    use crate::report::samples::HOSTILE;
    use crate::report::view::Mark;

    const SVG: &str = "<svg viewBox=\"0 0 1 1\"></svg>";

    fn words() -> String {
        HOSTILE.to_owned()
    }

    fn picture() -> Picture {
        Picture::new(SVG, ".a { fill: none }", words())
    }

    /// Every kind of block, with words that must be escaped.
    fn everything() -> Document {
        let line = Line {
            mark: Some(Mark::Worse),
            lead: Some(words()),
            text: words(),
            source: Some(words()),
        };
        let shot = |picture| Shot {
            caption: words(),
            picture,
            notes: vec![words()],
        };
        Document {
            title: words(),
            facts: vec![(words(), words()), ("Next".to_owned(), String::new())],
            blocks: vec![
                Block::Heading(words()),
                paragraph(words()),
                Block::Line(line.clone()),
                Block::Framed(line.clone()),
                Block::List(vec![line]),
                list([words()]),
                Block::Steps(vec![words()]),
                boxed(Tone::Stop, HOSTILE, vec![paragraph(words())]),
                Block::Table(Table {
                    about: words(),
                    columns: vec![Column {
                        head: words(),
                        is_number: true,
                    }],
                    rows: vec![vec![Cell {
                        mark: Some(Mark::Caution),
                        text: words(),
                        note: Some(words()),
                    }]],
                }),
                Block::Photos(Photos {
                    title: words(),
                    aside: Some(words()),
                    shots: vec![shot(Ok(picture())), shot(Err(words()))],
                }),
                Block::Picture(picture()),
                Block::Beside(picture(), vec![Block::Large(vec![paragraph(words())])]),
                Block::Blank(words()),
                Block::Room(words()),
                Block::Diary(Diary {
                    title: words(),
                    days: vec![words()],
                    rows: vec![DiaryRow {
                        name: words(),
                        boxes: 3,
                    }],
                }),
                Block::NewPage,
                Block::OnePage,
            ],
            foot: words(),
            at_home: false,
            program: words(),
        }
    }

    #[test]
    fn every_block_is_escaped_and_nothing_is_fetched_or_run() {
        for at_home in [false, true] {
            let page = html(&Document {
                at_home,
                ..everything()
            });
            for forbidden in [
                "<script", "http:", "https:", "url(", "@import", "<link", "src=",
            ] {
                assert!(!page.contains(forbidden), "{forbidden}");
            }
            assert_eq!(page.matches("<svg viewBox=\"0 0 1 1\">").count(), 3);
            assert_eq!(page.matches("class=\"tick\"").count(), 3);
            assert_eq!(page.matches("class=\"blank\"").count(), 3);
            assert!(page.contains("href=\"#sign-worse\"") && page.contains("id=\"sign-worse\""));
        }
    }

    #[test]
    fn without_a_mark_there_are_no_signs() {
        let page = html(&Document {
            blocks: vec![paragraph("words")],
            ..everything()
        });
        assert!(!page.contains("<svg"));
    }
}
