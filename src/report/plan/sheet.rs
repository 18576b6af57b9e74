//! The plan as a sheet for the clinician's file: one HTML file, no script, nothing fetched.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::PlanInput;
use super::view::{self, CAUTIONS, Section, Table};
use crate::report::html::page_metas;

const STYLE: &str = include_str!("sheet.css");

pub fn plan_sheet_html(input: &PlanInput) -> String {
    let view = view::view(input);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                (page_metas(input.program))
                title { (view.title) ", " (input.plan.date) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    h1 { (view.title) }
                    @if input.approved.is_none() {
                        p.proposal { "Proposal. Not approved: not to be handed out." }
                    }
                    dl.facts {
                        @for (name, value) in &view.facts {
                            div { dt { (name) } dd { (value) } }
                        }
                    }
                }
                main {
                    @for section in &view.sections { (self::section(section)) }
                }
                footer {
                    @if input.approved.is_none() {
                        p.sign { "Approved (initials, day): " span.blank {} }
                    }
                    p { (CAUTIONS) }
                    p { "Written by " (input.program) "." }
                }
            }
        }
    };
    page.into_string()
}

fn section(section: &Section) -> Markup {
    html! {
        section.stop[section.is_stop] {
            h2 { (section.title) }
            @if !section.lines.is_empty() {
                ul {
                    @for line in &section.lines {
                        li {
                            (line.text)
                            @if let Some(source) = &line.source { " " small { (source) } }
                        }
                    }
                }
            }
            @if let Some(table) = &section.table { (self::table(table)) }
        }
    }
}

fn table(table: &Table) -> Markup {
    html! {
        div.wide tabindex="0" role="region" aria-label="Table" {
            table {
                thead { tr { @for name in &table.head { th scope="col" { (name) } } } }
                tbody {
                    @for row in &table.rows {
                        tr { @for cell in row { td { (cell) } } }
                    }
                }
            }
        }
    }
}
