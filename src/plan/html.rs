//! The sheet as a page to print.

use std::fmt::Write as _;

use super::sheet::{Sheet, TotalityStep};
use super::text::{covered, minutes, signed_minutes};
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
            let _ = write!(out, "<td>{}</td>", in_markup(cell));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
    out
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
            &(self.contacts_table() + &paragraphs(&self.horizon)),
        );
        let day = [
            section("Countdown", &self.countdown_blocks()),
            section("Filter", &self.filter_words()),
            self.totality_section(),
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

    fn contacts_table(&self) -> String {
        let rows: Vec<Vec<String>> = self
            .contacts
            .iter()
            .map(|c| {
                let utc = c.utc.to_string();
                vec![
                    c.contact.word().to_owned(),
                    c.local.clone(),
                    utc.get(11..21).unwrap_or(&utc).to_owned(),
                    format!("± {:.1} s", c.sigma_s),
                    if c.sun_up {
                        format!("{:.1}°", c.sun_alt_deg)
                    } else {
                        "down".to_owned()
                    },
                    if c.sun_up {
                        format!("{:.1}", c.fists)
                    } else {
                        String::new()
                    },
                    format!("{:.0}° {}", c.sun_az_deg, c.compass),
                ]
            })
            .collect();
        table(
            "Contacts",
            &[
                "Contact",
                "Local",
                "UTC",
                "One sigma",
                "Altitude",
                "Fists",
                "Azimuth",
            ],
            &rows,
        )
    }

    fn countdown_blocks(&self) -> String {
        let mut out = String::from("<div class=\"blocks\">\n");
        for block in &self.countdowns {
            let word = block.contact.word();
            let rows: String = block
                .lines
                .iter()
                .map(|l| {
                    format!(
                        "<tr><td class=\"n\">{}</td><td>{}</td><td class=\"say\">{}</td></tr>\n",
                        signed_minutes(l.from_contact_s),
                        l.local,
                        in_markup(&l.action)
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
                    format!("{:.1}°", p.sun_alt_deg),
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

/// Stretches of the central phase, one a row.
fn steps_table(name: &str, steps: &[TotalityStep]) -> String {
    let rows: Vec<Vec<String>> = steps
        .iter()
        .map(|s| {
            vec![
                format!("{:+.1} s", s.from_c2_s),
                s.local.clone(),
                s.action.clone(),
            ]
        })
        .collect();
    table(name, &["From C2", "Local", "Do"], &rows)
}

/// The words with a capital first.
fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}
