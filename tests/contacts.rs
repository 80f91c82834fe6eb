//! The `contacts` room, through its door: against rows computed without Besselian elements.

use std::path::{Path, PathBuf};

use contactstrip::contacts::{self, ContactsError, ContactsOptions};
use contactstrip::domain::{ContactEvent, Contacts, LocalKind, Site, Utc};
use contactstrip::ephemeris::Radii;

mod command;
mod limb;
mod outputs;
mod properties;
mod published;

/// One row of `fixtures/reference/contacts_open.csv`, by column name.
struct Row(std::collections::BTreeMap<String, String>);

impl Row {
    fn text(&self, column: &str) -> &str {
        &self.0[column]
    }

    fn number(&self, column: &str) -> Option<f64> {
        self.text(column).parse().ok()
    }

    fn needed(&self, column: &str) -> f64 {
        self.number(column)
            .unwrap_or_else(|| panic!("{} has no {column}", self.text("case_id")))
    }

    fn utc(&self, column: &str) -> Option<Utc> {
        self.text(column).parse().ok().map(Utc::new)
    }

    fn site(&self) -> Site {
        Site::new(
            self.needed("lat_deg"),
            self.needed("lon_deg"),
            self.needed("elev_m"),
        )
        .unwrap()
    }

    fn date(&self) -> jiff::civil::Date {
        let column = self.0.get("date_utc").or(self.0.get("date_tt"));
        column.unwrap().parse().unwrap()
    }

    fn options(&self) -> ContactsOptions {
        ContactsOptions {
            delta_t_s: self.number("delta_t_s"),
            ..ContactsOptions::default()
        }
    }

    fn time_tolerance_s(&self) -> f64 {
        if self.text("grazing") == "1" {
            0.5
        } else {
            0.1
        }
    }

    fn label(&self, column: &str) -> String {
        format!("{} {column}", self.text("case_id"))
    }

    fn solved(&self, options: &ContactsOptions) -> Result<Contacts, ContactsError> {
        contacts::at(&self.site(), self.date(), options)
    }
}

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/reference")
        .join(name)
}

fn rows(name: &str) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(fixture(name))
        .unwrap();
    reader.deserialize().map(|row| Row(row.unwrap())).collect()
}

fn event<'a>(contacts: &'a Contacts, name: &str) -> Option<&'a ContactEvent> {
    match name {
        "c1" => Some(&contacts.c1),
        "c2" => contacts.c2.as_ref(),
        "max" => Some(&contacts.maximum),
        "c3" => contacts.c3.as_ref(),
        _ => Some(&contacts.c4),
    }
}

fn turned(a: f64, b: f64) -> f64 {
    ((a - b + 180.0).rem_euclid(360.0) - 180.0).abs()
}

const EVENTS: [&str; 5] = ["c1", "c2", "max", "c3", "c4"];

#[test]
fn kinds_are_those_of_the_reference() {
    let mut seen = 0;
    for row in rows("contacts_open.csv") {
        let valleys = ContactsOptions {
            radii: Radii::IAU.with_inner(Radii::K_VALLEYS),
            ..row.options()
        };
        for (column, options) in [("kind_iau", row.options()), ("kind_nasa", valleys)] {
            let kind = row
                .solved(&options)
                .map_or(LocalKind::None, |contacts| contacts.kind);
            assert_eq!(
                contacts::local_word(kind),
                row.text(column),
                "{} {column}",
                row.text("case_id")
            );
            seen += 1;
        }
    }
    assert_eq!(seen, 78);
}

/// Differences beyond the limit, by case and column; empty when all is well.
fn beyond(found: impl Iterator<Item = (String, f64, f64)>) -> Vec<String> {
    found
        .filter(|(_, off, limit)| off >= limit)
        .map(|(name, off, limit)| format!("{name}: off by {off:.4}, limit {limit}"))
        .collect()
}

/// Every event of every row with an eclipse: the row, the event's name, the event.
fn solved_events(options: impl Fn(&Row) -> ContactsOptions) -> Vec<(Row, String, ContactEvent)> {
    let mut found = Vec::new();
    for name in EVENTS {
        for row in rows("contacts_open.csv") {
            let Ok(contacts) = row.solved(&options(&row)) else {
                continue;
            };
            if let Some(event) = event(&contacts, name) {
                found.push((row, name.to_owned(), *event));
            }
        }
    }
    found
}

#[test]
fn times_are_within_a_tenth_of_a_second() {
    let events = solved_events(Row::options);
    let given = rows("contacts_open.csv");
    let given = given
        .iter()
        .flat_map(|row| EVENTS.map(|name| row.utc(&format!("{name}_utc"))));
    assert_eq!(events.len(), given.flatten().count());
    let off = events.iter().map(|(row, name, event)| {
        let expected = row
            .utc(&format!("{name}_utc"))
            .expect("the row has the event too");
        let off = event.utc.seconds_since(expected).abs();
        (row.label(name), off, row.time_tolerance_s())
    });
    assert_eq!(beyond(off), Vec::<String>::new());
}

#[test]
fn times_with_the_smaller_moon_are_within_a_tenth_of_a_second() {
    let events = solved_events(|row| ContactsOptions {
        radii: Radii::IAU.with_inner(Radii::K_VALLEYS),
        ..row.options()
    });
    let inner = events
        .iter()
        .filter(|(_, name, _)| name == "c2" || name == "c3");
    let off = inner.map(|(row, name, event)| {
        let expected = row
            .utc(&format!("{name}_nasa_utc"))
            .expect("the row has the event too");
        (
            row.label(name),
            event.utc.seconds_since(expected).abs(),
            row.time_tolerance_s(),
        )
    });
    assert_eq!(beyond(off), Vec::<String>::new());
}

#[test]
fn the_own_delta_t_costs_little() {
    // Observed and predicted rows to 0.1 s; extrapolated ones to 2 s, which is what nobody can know better.
    let off = solved_events(|_| ContactsOptions::default());
    let off = off.iter().map(|(row, name, event)| {
        let expected = row
            .utc(&format!("{name}_utc"))
            .expect("the row has the event too");
        let limit = if row.text("ut1_status") == "extrapolated" {
            2.0
        } else {
            row.time_tolerance_s()
        };
        (
            row.label(name),
            event.utc.seconds_since(expected).abs(),
            limit,
        )
    });
    assert_eq!(beyond(off), Vec::<String>::new());
}

#[test]
fn angles_are_within_a_hundredth_of_a_degree() {
    let mut wrong = Vec::new();
    for (row, name, e) in solved_events(Row::options) {
        // The Moon's direction at maximum loses its meaning as the separation vanishes; azimuth near the zenith too.
        let direction = if name == "max" {
            0.01 + 0.25 / row.needed("min_sep_arcsec").max(1e-3)
        } else {
            0.01
        };
        let turn = if e.sky.sun_alt_deg > 80.0 { 0.05 } else { 0.01 };
        let pairs = [
            ("alt_deg", e.sky.sun_alt_deg, 0.01),
            ("alt_refr_deg", e.sky.sun_alt_refracted_deg, 0.01),
            ("az_deg", e.sky.sun_az_deg, turn),
            ("P_deg", e.position_angle_deg, direction),
            ("V_deg", e.vertex_angle_deg, direction.max(turn)),
            ("q_deg", e.sky.parallactic_deg, turn),
        ];
        wrong.extend(beyond(pairs.into_iter().map(|(column, found, limit)| {
            let column = format!("{name}_{column}");
            (
                row.label(&column),
                turned(found, row.needed(&column)),
                limit,
            )
        })));
        assert_eq!(
            u8::from(e.sun_up).to_string(),
            row.text(&format!("{name}_sun_up"))
        );
    }
    assert_eq!(wrong, Vec::<String>::new());
}

#[test]
fn sizes_and_coverage_are_those_of_the_reference() {
    let mut wrong = Vec::new();
    for row in rows("contacts_open.csv") {
        let Ok(contacts) = row.solved(&row.options()) else {
            continue;
        };
        let sky = contacts.maximum.sky;
        let pairs = [
            ("magnitude", contacts.magnitude, 2e-5),
            ("obscuration", contacts.obscuration, 2e-5),
            ("ratio", sky.ratio(), 2e-6),
            ("min_sep_arcsec", sky.separation_arcsec(), 0.02),
            ("sun_rad_arcsec", sky.sun_radius_arcsec, 0.003),
            ("moon_rad_arcsec", sky.moon_radius_arcsec, 0.003),
        ];
        wrong.extend(beyond(pairs.into_iter().map(|(column, found, limit)| {
            (row.label(column), (found - row.needed(column)).abs(), limit)
        })));
    }
    assert_eq!(wrong, Vec::<String>::new());
}

#[test]
fn places_drawn_by_lot_agree_for_every_eclipse() {
    let rows = rows("contacts_drawn.csv");
    assert_eq!(rows.len(), 260);
    let (mut wrong, mut differences) = (Vec::new(), Vec::new());
    for row in &rows {
        let label = |column: &str| format!("{} {column}", row.text("c1_utc"));
        let contacts = row.solved(&row.options()).unwrap();
        assert_eq!(
            contacts::local_word(contacts.kind),
            row.text("kind"),
            "{}",
            label("kind")
        );
        for name in EVENTS {
            let expected = row.utc(&format!("{name}_utc"));
            let found = event(&contacts, name).map(|event| event.utc);
            assert_eq!(expected.is_some(), found.is_some(), "{}", label(name));
            if let (Some(expected), Some(found)) = (expected, found) {
                let off = found.seconds_since(expected).abs();
                differences.push(off);
                wrong.extend(beyond(
                    [(label(name), off, drawn_limit_s(&contacts, name))].into_iter(),
                ));
            }
        }
        for (name, e) in [
            ("c1", contacts.c1),
            ("max", contacts.maximum),
            ("c4", contacts.c4),
        ] {
            let turn = if e.sky.sun_alt_deg > 80.0 { 0.05 } else { 0.01 };
            let direction = if name == "max" {
                0.01 + 0.25 / row.needed("min_sep_arcsec").max(1e-3)
            } else {
                0.01
            };
            let pairs = [
                ("alt", e.sky.sun_alt_deg, 0.01),
                ("az", e.sky.sun_az_deg, turn),
                ("P", e.position_angle_deg, direction),
                ("q", e.sky.parallactic_deg, turn),
            ];
            wrong.extend(beyond(pairs.into_iter().map(|(angle, found, limit)| {
                let column = format!("{name}_{angle}_deg");
                (label(&column), turned(found, row.needed(&column)), limit)
            })));
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    differences.sort_by(f64::total_cmp);
    let median = differences[differences.len() / 2];
    assert!(
        median < 0.005,
        "median {median:.4} s, largest {:.4} s",
        differences[differences.len() - 1]
    );
}

/// 0.1 s, but 0.5 s for a grazing contact: a central phase under 30 s, or less than a fiftieth of the diameter covered.
fn drawn_limit_s(contacts: &Contacts, name: &str) -> f64 {
    let short = contacts.central_duration_s().is_some_and(|s| s < 30.0) && name.starts_with(['c']);
    if short || contacts.magnitude < 0.02 {
        0.5
    } else {
        0.1
    }
}

/// Median over the central rows of how far an event moves outwards from maximum, in seconds.
fn median_move_s(radii: Radii, name: &str) -> f64 {
    let with = |radii| {
        move |row: &Row| ContactsOptions {
            radii,
            ..row.options()
        }
    };
    let usual = solved_events(with(Radii::IAU));
    let other = solved_events(with(radii));
    let mut moves = Vec::new();
    for (row, event_name, event) in &usual {
        let same = |found: &&(Row, String, ContactEvent)| {
            found.0.text("case_id") == row.text("case_id") && found.1 == *event_name
        };
        let Some((_, _, moved)) = other.iter().find(same) else {
            continue;
        };
        if event_name == name && !row.text("c2_utc").is_empty() {
            let total = row.text("kind_iau") == "total";
            let outwards = if name == "c4" || name == "c3" {
                1.0
            } else {
                -1.0
            };
            let hand = if total || name == "c1" || name == "c4" {
                outwards
            } else {
                -outwards
            };
            moves.push(moved.utc.seconds_since(event.utc) * hand);
        }
    }
    moves.sort_by(f64::total_cmp);
    moves[moves.len() / 2]
}

/// The figures of the table at `Radii`.
#[test]
fn the_radii_cost_what_their_table_says() {
    let near = |found: f64, told: f64| assert!((found - told).abs() < 0.06, "{found:.3} {told}");
    let eclipse_sun = Radii {
        sun_arcsec: Radii::SUN_ECLIPSE_ARCSEC,
        ..Radii::IAU
    };
    let canon = Radii {
        moon_k: 0.272_488,
        ..Radii::IAU
    };
    near(
        median_move_s(Radii::IAU.with_inner(Radii::K_VALLEYS), "c2"),
        -2.08,
    );
    near(median_move_s(eclipse_sun, "c2"), -0.83);
    near(median_move_s(eclipse_sun, "c1"), 0.76);
    near(median_move_s(canon, "c4"), -0.15);
}
