//! The sheet as a page to print.

use std::fmt::Write as _;

use super::course::Sight;
use super::sheet::{ContactLine, Sheet, TotalityStep};
use super::text::{behind, capital, covered, minutes, signed_minutes};
use super::{chart, limb_picture};
use crate::domain::{dial_mark, in_markup};

/// Look of the page.
const STYLE: &str = include_str!("sheet.css");

/// What the page may load: only what is in it.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";

/// A table in a box that scrolls sideways where the screen is narrow; `n` marks columns of numbers.
fn table(name: &str, columns: &[&str], rows: &[Vec<String>]) -> String {
    let mut out = format!(
        "<div class=\"wide\" role=\"group\" aria-label=\"{name}\" tabindex=\"0\">\n<table><thead><tr>"
    );
    for column in columns {
        let _ = write!(out, "<th scope=\"col\">{column}</th>");
    }
    out.push_str("</tr></thead><tbody>\n");
    for row in rows {
        out.push_str("<tr>");
        for cell in row {
            let _ = write!(out, "<td>{}</td>", kept_together(&in_markup(cell)));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
    out
}

/// Letters up to which a cell stays on one line.
const ONE_LINE: usize = 13;

/// A short text that does not break: a number with its unit.
fn kept_together(text: &str) -> String {
    if text.chars().count() <= ONE_LINE {
        text.replace(' ', "&nbsp;")
    } else {
        text.to_owned()
    }
}

/// A section with its heading.
fn section(heading: &str, body: &str) -> String {
    format!("<section>\n<h2>{heading}</h2>\n{body}</section>\n")
}

/// A line of plain text with points where it has gaps, which a page would close.
fn parted(line: &str) -> String {
    let parts = line.split("  ").map(str::trim).filter(|p| !p.is_empty());
    parts.collect::<Vec<&str>>().join(" \u{b7} ")
}

/// Paragraphs.
fn paragraphs<T: AsRef<str>>(lines: &[T]) -> String {
    lines
        .iter()
        .map(|line| format!("<p>{}</p>\n", in_markup(line.as_ref())))
        .collect()
}

/// A list.
fn list<T: AsRef<str>>(lines: &[T]) -> String {
    let items: String = lines
        .iter()
        .map(|line| format!("<li>{}</li>\n", in_markup(line.as_ref())))
        .collect();
    format!("<ul>\n{items}</ul>\n")
}

impl Sheet {
    /// The sheet as one self-contained page: no script, nothing fetched, light, dark and printable.
    pub fn html(&self) -> String {
        let contacts = section(
            "Contacts",
            &(self.contacts_table() + &paragraphs(&self.horizon) + &self.path_figure()),
        );
        let day = [
            section("Countdown", &self.countdown_blocks()),
            section("Filter", &self.filter_words()),
            self.totality_section(),
            self.limb_light_section(),
            section("Settings", &self.settings_table()),
            self.bracket_section(),
            section("Partials, every five minutes", &self.partials_table()),
            section("The Sun in the frame", &paragraphs(&self.frame_lines())),
            self.planet_section(),
            section("Card and battery", &paragraphs(&[self.card_line()])),
            section("Notes", &list(&self.notes)),
            section("Sources", &list(&self.sources)),
        ]
        .concat();
        let main = if self.never_up() {
            contacts
        } else {
            contacts + &day
        };
        let title = in_markup(&format!("Shooting sheet, eclipse of {}", self.eclipse_date));
        let head = [
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">",
            "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">",
            &format!("<meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">"),
            "<link rel=\"icon\" href=\"data:,\">",
            &format!("<title>{title}</title>\n<style>\n{STYLE}</style>\n</head>"),
        ];
        let top = [
            format!("<h1>{title}</h1>"),
            format!(
                "<p class=\"big\">{}</p>",
                in_markup(&capital(&self.headline()))
            ),
            format!(
                "<p class=\"quiet\">{}</p>",
                in_markup(&parted(&self.place_line()))
            ),
            format!(
                "<p class=\"quiet\">{}</p>",
                in_markup(&parted(&self.gear_line()))
            ),
            self.near_path
                .map_or_else(String::new, |path| paragraphs(&[path.words()])),
            format!(
                "<div class=\"safety\">\n<h2>Safety</h2>\n{}</div>",
                list(&self.safety)
            ),
            self.warning_box(),
        ];
        format!(
            "{}\n<body>\n<header>\n{}\n</header>\n<main>\n{main}</main>\n</body>\n</html>\n",
            head.join("\n"),
            top.join("\n")
        )
    }

    /// What makes the times doubtful, where something does.
    fn warning_box(&self) -> String {
        if self.warnings.is_empty() {
            return String::new();
        }
        format!(
            "<div class=\"safety\">\n<h2>Warning</h2>\n{}</div>",
            paragraphs(&self.warnings)
        )
    }

    /// The Sun's path over the horizon, where it is up.
    fn path_figure(&self) -> String {
        let Some(chart) = chart::chart(self) else {
            return String::new();
        };
        let horizon = match &self.horizon_file {
            Some(_) => "the horizon you measured",
            None => "a flat horizon",
        };
        format!(
            "<figure class=\"path\">\n{chart}<figcaption>The Sun\u{2019}s path over {horizon}: azimuth to the right, altitude upwards. \
             Local times.</figcaption>\n</figure>\n"
        )
    }

    /// Where the diamond stands, or the ring closes and breaks.
    fn limb_light_section(&self) -> String {
        if self.limb_lights.is_empty() {
            return String::new();
        }
        let lines: Vec<String> = self.limb_lights.iter().map(|l| l.words()).collect();
        let locals: Vec<(String, String)> = self
            .contacts
            .iter()
            .map(|c| (c.contact.word().to_owned(), c.local.clone()))
            .collect();
        let body = paragraphs(&lines)
            + &limb_picture::figures(&self.limb_lights, self.kind, &locals)
            + &paragraphs(&[self.limb_light_note()]);
        section(self.limb_light_heading(), &body)
    }

    fn contacts_table(&self) -> String {
        let rows: Vec<Vec<String>> = self
            .contacts
            .iter()
            .map(|c| {
                let utc = c.utc.to_string();
                let up = |told: String| if c.sun_up { told } else { String::new() };
                vec![
                    capital(c.contact.word()),
                    c.local.clone(),
                    altitude_cell(c),
                    up(format!("{:.1}", c.fists)),
                    format!("{:.0}° {}", c.sun_az_deg, c.compass),
                    format!("± {:.1} s", c.sigma_s),
                    utc.get(11..21).unwrap_or(&utc).to_owned(),
                ]
            })
            .collect();
        table(
            "Contacts",
            &[
                "Contact",
                "Local",
                "Altitude",
                "Fists",
                "Azimuth",
                "One sigma",
                "UTC",
            ],
            &rows,
        )
    }

    fn countdown_blocks(&self) -> String {
        let mut out = String::from("<div class=\"blocks\">\n");
        for block in &self.countdowns {
            let word = capital(block.contact.word());
            let rows: String = block
                .lines
                .iter()
                .map(|l| {
                    format!(
                        "<tr><td class=\"n\">{}</td><td>{}</td><td class=\"say\">{}</td></tr>\n",
                        signed_minutes(l.from_contact_s),
                        l.local,
                        in_markup(&l.action) + behind(l.behind_horizon)
                    )
                })
                .collect();
            let _ = write!(
                out,
                "<div class=\"block\">\n<h3>To {word}</h3>\n<table><thead><tr><th scope=\"col\" \
                     class=\"n\">From {word}</th><th scope=\"col\">Local</th><th \
                     scope=\"col\">Do</th></tr></thead><tbody>\n{rows}</tbody></table>\n</div>\n"
            );
        }
        out.push_str("</div>\n");
        out
    }

    fn filter_words(&self) -> String {
        let times = self.filter.as_ref().map_or_else(String::new, |f| {
            format!(
                "<p class=\"big\">Off {} &nbsp; On {}</p>\n<p>Totality lasts {}.</p>\n",
                f.off_local,
                f.on_local,
                minutes(f.totality_s)
            )
        });
        times + &paragraphs(&self.filter_lines())
    }

    fn totality_section(&self) -> String {
        let totality = self.totality.as_ref().map_or_else(String::new, |plan| {
            section("Totality", &steps_table("Totality", &plan.steps))
        });
        let ring = self.ring.as_ref().map_or_else(String::new, |plan| {
            let body =
                paragraphs(&[plan.shutter_words()]) + &steps_table("Annularity", &plan.steps);
            section("Annularity, filter on throughout", &body)
        });
        totality + &ring
    }

    fn settings_table(&self) -> String {
        let rows: Vec<Vec<String>> = self
            .settings
            .iter()
            .map(|s| {
                vec![
                    s.feature.to_owned(),
                    s.shutter.clone(),
                    s.hazy_shutter.clone(),
                    if s.filter { "on" } else { "none" }.to_owned(),
                    if s.drift_px >= 0.5 {
                        format!("{:.0} px", s.drift_px)
                    } else {
                        "under 1 px".to_owned()
                    },
                ]
            })
            .collect();
        table(
            "Settings",
            &["Feature", "Clear air", "Haze", "Filter", "Drift"],
            &rows,
        )
    }

    fn bracket_section(&self) -> String {
        let Some(brackets) = &self.brackets else {
            return String::new();
        };
        let chosen = &brackets.chosen;
        let mut body = format!(
            "<p>From the beads to the corona 4 solar radii off the limb: {} stops. Use {}.</p>\n<ol>\n",
            brackets.range_stops,
            in_markup(&chosen.words())
        );
        for set in chosen.exposures_s.chunks(chosen.frames as usize) {
            let marks: Vec<_> = set.iter().map(|s| dial_mark(*s)).collect();
            let _ = writeln!(body, "<li>{}</li>", in_markup(&marks.join(", ")));
        }
        body.push_str("</ol>\n<h3>Others</h3>\n");
        let others: Vec<_> = brackets
            .weighed
            .iter()
            .filter(|w| *w != chosen)
            .map(|w| w.words())
            .collect();
        section("Bracket", &(body + &list(&others)))
    }

    fn partials_table(&self) -> String {
        let rows: Vec<Vec<String>> = self
            .partials
            .iter()
            .map(|p| {
                vec![
                    p.local.clone(),
                    if p.behind_horizon {
                        format!("{:.1}°, hidden", p.sun_alt_deg)
                    } else {
                        format!("{:.1}°", p.sun_alt_deg)
                    },
                    format!("{:.0}° {}", p.sun_az_deg, p.compass),
                    covered(p.obscuration),
                    p.shutter_words(),
                    p.haze_words().to_owned(),
                ]
            })
            .collect();
        let columns = [
            "Local",
            "Altitude",
            "Azimuth",
            "Covered",
            "Shutter, filter on",
            "In haze",
        ];
        "<p>A minute either way does no harm.</p>\n".to_owned()
            + &table("Partials", &columns, &rows)
    }

    fn planet_section(&self) -> String {
        if !self.totality_seen {
            return String::new();
        }
        let rows: Vec<Vec<String>> = self
            .planets
            .iter()
            .map(|p| {
                vec![
                    p.name.to_owned(),
                    format!("{:.1}", p.magnitude),
                    format!("{:.0}°", p.alt_deg),
                    format!("{:.0}° {}", p.az_deg, super::compass_point(p.az_deg)),
                    format!("{:.0}°", p.from_sun_deg),
                ]
            })
            .collect();
        section(
            "Planets in totality",
            &table(
                "Planets",
                &["Planet", "Magnitude", "Altitude", "Azimuth", "From the Sun"],
                &rows,
            ),
        )
    }
}

/// The Sun's altitude at a contact, and how it stands to the horizon.
fn altitude_cell(c: &ContactLine) -> String {
    match c.sight {
        _ if !c.sun_up => "down".to_owned(),
        Some(sight) if sight != Sight::Clear => format!("{:.1}°, {}", c.sun_alt_deg, sight.word()),
        _ => format!("{:.1}°", c.sun_alt_deg),
    }
}

/// Stretches of the central phase, one a row.
fn steps_table(name: &str, steps: &[TotalityStep]) -> String {
    let rows: Vec<Vec<String>> = steps
        .iter()
        .map(|s| {
            vec![
                format!("{:+.1} s", s.from_c2_s),
                s.local.clone(),
                s.action.clone() + behind(s.behind_horizon),
            ]
        })
        .collect();
    table(name, &["From C2", "Local", "Do"], &rows)
}
