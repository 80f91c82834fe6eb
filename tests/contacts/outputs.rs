//! What comes out: JSON, words, calendar, diagram, lists, and errors that help.

use contactstrip::contacts::{
    self, Circumstances, CivilZone, ContactsError, ContactsOptions, Visible, Written,
};
use contactstrip::domain::{LocalKind, Site, Utc};
use contactstrip::ephemeris::EclipseView;
use contactstrip::phase::zone;
use serde_json::Value;

fn view(site: &str, date: &str) -> EclipseView {
    let site: Site = site.parse().unwrap();
    contacts::view(&site, date.parse().unwrap(), &ContactsOptions::default()).unwrap()
}

fn all(site: &str, date: &str) -> Circumstances {
    let view = view(site, date);
    let place = zone::of_place(&view.site()).unwrap();
    let civil = CivilZone {
        name: place.name,
        rules: place.rules,
    };
    contacts::circumstances(&view, civil).unwrap()
}

fn error(site: &str, date: &str) -> ContactsError {
    let site: Site = site.parse().unwrap();
    contacts::at(&site, date.parse().unwrap(), &ContactsOptions::default()).unwrap_err()
}

const CHILE: (&str, &str) = ("-30.03,-70.71,600", "2019-07-02");
const PALMA: (&str, &str) = ("39.5696,2.6502,20", "2026-08-12");

#[test]
fn the_json_has_the_fields_it_promises() {
    let json: Value = serde_json::from_str(&contacts::json(&all(CHILE.0, CHILE.1))).unwrap();
    assert_eq!(json["format"], "contactstrip-contacts");
    assert_eq!(json["version"], 1);
    assert_eq!(json["eclipse"]["date"], "2019-07-02");
    assert_eq!(json["zone"], "America/Santiago");
    assert_eq!(
        (&json["kind"], &json["visible"]),
        (&"total".into(), &"all".into())
    );
    for name in ["c1", "c2", "maximum", "c3", "c4"] {
        let event = &json[name];
        assert!(event["utc"].as_str().unwrap().ends_with('Z'));
        assert!(event["local"].as_str().unwrap().ends_with("-04:00"));
        for field in [
            "sigma_s",
            "sun_alt_deg",
            "sun_alt_refracted_deg",
            "sun_az_deg",
            "position_angle_deg",
            "vertex_angle_deg",
            "parallactic_deg",
            "separation_arcsec",
            "sun_radius_arcsec",
            "moon_radius_arcsec",
            "moon_east_arcsec",
            "moon_north_arcsec",
            "obscuration",
            "magnitude",
            "vertical_squeeze",
        ] {
            assert!(event[field].is_f64(), "{name} {field}");
        }
        assert_eq!(event["sun_up"], true);
    }
    assert!(json["miss"].is_null() && json["horizon"].as_array().unwrap().is_empty());
    let valleys = &json["valleys"];
    assert!(valleys["c2_utc"].as_str() > json["c2"]["utc"].as_str());
    assert!(valleys["c3_utc"].as_str() < json["c3"]["utc"].as_str());
    assert_eq!(json["safety"].as_array().unwrap().len(), 5);
}

#[test]
fn a_place_the_moon_misses_has_json_too() {
    let view = view("25.7617,-80.1918,2", "2026-08-12");
    let text = contacts::json_missed(&view, &CivilZone::utc());
    let json: Value = serde_json::from_str(&text).unwrap();
    assert_eq!((&json["kind"], &json["c1"]), (&"none".into(), &Value::Null));
    let separation = json["miss"]["separation_arcsec"].as_f64().unwrap();
    assert!((separation - 2427.59).abs() < 0.05, "{separation}");
}

#[test]
fn sunset_in_the_eclipse_is_told() {
    let all = all(PALMA.0, PALMA.1);
    assert_eq!(all.visible, Visible::Part);
    assert_eq!(all.crossings.len(), 1);
    let sunset = &all.crossings[0];
    assert!(!sunset.rising && (0.5..0.7).contains(&sunset.sky.obscuration));
    assert!((sunset.sky.sun_alt_deg + 0.8333).abs() < 1e-5);
    assert!(contacts::text(&all).contains("sunset   2026-08-12 20:49:"));
    let json: Value = serde_json::from_str(&contacts::json(&all)).unwrap();
    assert_eq!(json["horizon"][0]["event"], "sunset");
}

#[test]
fn the_best_seen_is_above_the_horizon() {
    // Vigo to the east: in Rome the Sun sets before maximum.
    let rome = all("41.90,12.50,30", "2026-08-12");
    assert!(!rome.contacts.maximum.sun_up);
    let best = rome.best_seen.unwrap();
    assert!(best.obscuration > 0.0 && best.obscuration < rome.contacts.obscuration);
    assert!(best.utc <= rome.crossings[0].sky.utc);
    let istanbul = all("41.0082,28.9784,40", "2026-08-12");
    assert_eq!((istanbul.visible, istanbul.best_seen), (Visible::No, None));
    assert!(contacts::text(&istanbul).contains("nothing of it is seen from here"));
    assert!(contacts::diagram(&istanbul).contains("below the horizon throughout"));
}

#[test]
fn words_say_when_and_how_careful_to_be() {
    let total = contacts::text(&all(CHILE.0, CHILE.1));
    for words in [
        "C2       2019-07-02 16:38:3",
        "Totality lasts 2m29.",
        "ISO 12312-2",
        "Filters come off only while totality",
    ] {
        assert!(total.contains(words), "{words}\n{total}");
    }
    let partial = contacts::text(&all("40.42,-3.70,650", "2026-08-12"));
    assert!(
        partial.contains("partial at") && !partial.contains("come off"),
        "{partial}"
    );
}

#[test]
fn the_calendar_keeps_to_its_format() {
    let written = Written {
        at: Utc::new("2026-07-01T10:00:00.7Z".parse().unwrap()),
        sequence: 4,
    };
    let text = contacts::calendar(&all(PALMA.0, PALMA.1), written);
    assert!(text.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:"));
    assert!(text.ends_with("END:VCALENDAR\r\n"));
    assert!(
        text.split("\r\n")
            .all(|line| line.len() <= 75 && !line.contains('\n'))
    );
    let unfolded = text.replace("\r\n ", "");
    let count = |line: &str| {
        unfolded
            .split("\r\n")
            .filter(|found| *found == line)
            .count()
    };
    // The whole, totality, and four events with the Sun up.
    assert_eq!((count("BEGIN:VEVENT"), count("END:VEVENT")), (6, 6));
    let mut ids: Vec<_> = unfolded
        .split("\r\n")
        .filter(|line| line.starts_with("UID:"))
        .collect();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), 6);
    assert_eq!(
        (count("DTSTAMP:20260701T100000Z"), count("SEQUENCE:4")),
        (6, 6)
    );
    // Every contact with the Sun up reminds, with what to do about filters.
    assert_eq!(count("BEGIN:VALARM"), 6);
    assert!(unfolded.contains("C2 in a minute: filters on until the last bead is gone"));
    assert!(unfolded.contains("C3 in a minute: filters back before the first bead"));
    // Totality 18:31:04.8 to 18:32:43.5 is written by the whole seconds inside it.
    assert!(
        unfolded.contains("DTSTART:20260812T183105Z\r\nDTEND:20260812T183243Z\r\nSUMMARY:Totality")
    );
}

#[test]
fn the_diagram_draws_what_is_seen() {
    let seen = contacts::diagram(&all(PALMA.0, PALMA.1));
    // Five panels, and a group for the charts of the beads.
    assert_eq!(seen.matches("<g transform=\"translate").count(), 6);
    assert_eq!(seen.matches("<g").count(), seen.matches("</g>").count());
    assert!(seen.contains(">sunset<") && !seen.contains(">C4<"));
    assert!(seen.contains("ISO 12312-2") && !seen.contains("NaN"));
}

#[test]
fn the_years_of_a_place_leave_out_what_is_not_seen() {
    let site: Site = "-30.03,-70.71".parse().unwrap();
    let list = |from, to| contacts::list(&site, from, to, &ContactsOptions::default());
    let dates: Vec<String> = list(2019, 2024)
        .unwrap()
        .iter()
        .map(|view| view.eclipse().date().to_string())
        .collect();
    assert_eq!(
        dates,
        [
            "2019-07-02",
            "2020-12-14",
            "2022-04-30",
            "2023-10-14",
            "2024-10-02"
        ]
    );
    for (from, to) in [(2024, 2019), (1990, 2000), (2050, 2060)] {
        assert_eq!(list(from, to).unwrap_err(), ContactsError::Years(from, to));
    }
    let zone = CivilZone::nautical(&site);
    let none = contacts::list_text(&site, &zone, (2021, 2021), &[]);
    assert!(none.contains("none"));
}

#[test]
fn errors_show_the_nearest_right_thing() {
    let no_eclipse = error("40,0", "2026-08-20").to_string();
    assert!(
        no_eclipse.contains("2026-08-12 (total) and 2027-02-06 (annular)"),
        "{no_eclipse}"
    );
    let beyond = error("40,0", "2060-01-01").to_string();
    assert!(
        beyond.contains("the table ends with 2053-09-12"),
        "{beyond}"
    );
    let missed = error("25.76,-80.19", "2026-08-12").to_string();
    assert!(missed.contains("greatest near 65.2,-25.2"), "{missed}");
    for (text, hint) in [
        ("-120.7,38.4", "did you mean 38.4,-120.7?"),
        ("-30.03,289.29", "did you mean -70.71?"),
    ] {
        let wrong = text.parse::<Site>().unwrap_err().to_string();
        assert!(wrong.contains(hint), "{wrong}");
    }
    let dates =
        |texts: &[&str]| contacts::eclipse_of(texts.iter().map(|text| text.parse().unwrap()));
    assert_eq!(dates(&[]).unwrap_err(), ContactsError::NoDates);
    assert!(matches!(
        dates(&["2018-01-01"]),
        Err(ContactsError::NoEclipse(_))
    ));
    let most = dates(&["2017-08-21", "2019-07-02", "2019-07-03", "2019-03-01"]).unwrap();
    assert_eq!(most.date().to_string(), "2019-07-02");
}

#[test]
fn options_out_of_range_are_refused() {
    let site: Site = "40,0".parse().unwrap();
    let date = "2026-08-12".parse().unwrap();
    for delta_t_s in [-1.0, 301.0, f64::NAN, f64::INFINITY] {
        let options = ContactsOptions {
            delta_t_s: Some(delta_t_s),
            ..Default::default()
        };
        assert!(matches!(
            contacts::at(&site, date, &options),
            Err(ContactsError::DeltaT(_))
        ));
    }
    for k in [0.0, -0.27, 0.5, f64::NAN] {
        let mut options = ContactsOptions::default();
        options.radii.moon_k = k;
        assert_eq!(
            contacts::at(&site, date, &options),
            Err(ContactsError::Radii)
        );
    }
}

#[test]
fn the_error_grows_towards_the_limit() {
    // Southern limit of 2017-08-21 in Missouri, from well inside to just inside.
    let sigma = |lat: f64| {
        let site = Site::new(lat, -91.0779, 0.0).unwrap();
        let found = contacts::at(
            &site,
            "2017-08-21".parse().unwrap(),
            &ContactsOptions::default(),
        )
        .unwrap();
        assert_eq!(found.kind, LocalKind::Total);
        found.c2.unwrap().sigma_s
    };
    let (middle, near, edge) = (sigma(38.4), sigma(37.9), sigma(37.79));
    assert!(middle < near && near < edge, "{middle} {near} {edge}");
    assert!(
        (1.0..3.0).contains(&middle) && edge > 6.0,
        "{middle} {near} {edge}"
    );
}

#[test]
fn every_place_has_a_civil_zone() {
    for (site, name) in [
        ("-30.03,-70.71", "America/Santiago"),
        ("42.34,-3.70", "Europe/Madrid"),
    ] {
        assert_eq!(zone::of_place(&site.parse().unwrap()).unwrap().name, name);
    }
    let when = contactstrip::domain::Utc::new("2016-03-09T02:00:00Z".parse().unwrap());
    for (site, hours) in [("24,-179.99", -12), ("24,179.99", 12), ("-30,-120", -8)] {
        assert_eq!(
            zone::of_place(&site.parse().unwrap())
                .unwrap()
                .offset_s(when),
            hours * 3600,
            "{site}"
        );
    }
    for site in ["90,0", "-90,0", "90,180", "-90,-180", "0,180", "0,-180"] {
        let site: Site = site.parse().unwrap();
        let hours = zone::of_place(&site).map_or(0, |zone| zone.offset_s(when)) / 3600;
        assert!(hours.abs() <= 14);
    }
}
