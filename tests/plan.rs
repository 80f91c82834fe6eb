//! The `plan` room, through its door.

use std::path::Path;

use contactstrip::contacts::{self, ContactsOptions};
use contactstrip::domain::{
    ContactEvent, ContactKind, Contacts, EclipseKind, LocalKind, Site, SunMoon, Utc,
};
use contactstrip::ephemeris::EclipseView;
use contactstrip::plan::{self, Gear, PlanError, PlanInput, Sheet};
use jiff::tz::TimeZone;

/// A drawn eclipse: the Moon passes in a straight line, the Sun moves evenly along the sky.
///
/// Not an ephemeris: only as true as a sheet or a page needs, and sharing nothing with what makes real ones.
#[derive(Clone, Copy)]
pub(crate) struct DrawnEclipse {
    pub(crate) kind: LocalKind,
    pub(crate) alt_at_maximum_deg: f64,
}

pub(crate) const TOTAL: DrawnEclipse = DrawnEclipse {
    kind: LocalKind::Total,
    alt_at_maximum_deg: 13.0,
};

const SUN_ARCSEC: f64 = 944.0;
/// Moon's motion against the Sun in seconds of arc per second of time.
const MOTION: f64 = 0.44;

pub(crate) fn utc(text: &str) -> Utc {
    Utc::new(text.parse().unwrap())
}

impl DrawnEclipse {
    pub(crate) fn site(self) -> Site {
        Site::new(-30.03, -70.71, 620.0).unwrap()
    }

    fn maximum(self) -> Utc {
        utc("2019-07-02T20:39:24.5Z")
    }

    fn moon_arcsec(self) -> f64 {
        if self.kind == LocalKind::Annular {
            900.0
        } else {
            976.0
        }
    }

    /// Least distance of the centres in seconds of arc.
    fn miss_arcsec(self) -> f64 {
        if self.kind == LocalKind::Partial {
            700.0
        } else {
            5.0
        }
    }

    pub(crate) fn sky(self, t: Utc) -> SunMoon {
        let s = t.seconds_since(self.maximum());
        let (east, north) = (MOTION * s, self.miss_arcsec());
        let moon = self.moon_arcsec();
        let apart = east.hypot(north);
        let covered = ((SUN_ARCSEC + moon - apart) / (2.0 * SUN_ARCSEC)).max(0.0);
        let alt = self.alt_at_maximum_deg - s / 240.0 * 0.75;
        SunMoon {
            utc: t,
            sun_radius_arcsec: SUN_ARCSEC,
            moon_radius_arcsec: moon,
            moon_east_arcsec: east,
            moon_north_arcsec: north,
            obscuration: covered.min(1.0).powf(1.25),
            magnitude: covered,
            sun_alt_deg: alt,
            sun_alt_refracted_deg: alt + 0.05,
            sun_az_deg: 313.0 - s / 240.0 * 0.6,
            parallactic_deg: 135.0,
            vertical_squeeze: 1.0,
        }
    }

    fn event(self, kind: ContactKind, from_maximum_s: f64) -> ContactEvent {
        let t = self.maximum().plus_s(from_maximum_s);
        let sky = self.sky(t);
        ContactEvent {
            kind,
            utc: t,
            sigma_s: 1.4,
            sky,
            position_angle_deg: sky.position_angle_deg(),
            vertex_angle_deg: (sky.position_angle_deg() - sky.parallactic_deg).rem_euclid(360.0),
            sun_up: sky.sun_alt_refracted_deg > -0.27,
        }
    }

    pub(crate) fn contacts(self) -> Contacts {
        let at = |apart: f64| (apart * apart - self.miss_arcsec().powi(2)).sqrt() / MOTION;
        let (outer, inner) = (
            at(SUN_ARCSEC + self.moon_arcsec()),
            (self.moon_arcsec() - SUN_ARCSEC).abs(),
        );
        let central = self.kind != LocalKind::Partial;
        let maximum = self.event(ContactKind::Maximum, 0.0);
        Contacts {
            eclipse_date: jiff::civil::date(2019, 7, 2),
            eclipse_kind: match self.kind {
                LocalKind::Annular => EclipseKind::Annular,
                _ => EclipseKind::Total,
            },
            site: self.site(),
            kind: self.kind,
            c1: self.event(ContactKind::C1, -outer),
            c2: central.then(|| self.event(ContactKind::C2, -at(inner))),
            maximum,
            c3: central.then(|| self.event(ContactKind::C3, at(inner))),
            c4: self.event(ContactKind::C4, outer),
            magnitude: maximum.sky.magnitude,
            obscuration: maximum.sky.obscuration,
            delta_t_s: 69.2,
            limb: contactstrip::domain::MoonLimb::Mean,
            limb_margin: None,
        }
    }
}

fn gear() -> Gear {
    Gear {
        focal_mm: 600.0,
        f_number: 8.0,
        iso: 100.0,
        filter_stops: 16.0,
        sensor: "full-frame".parse().unwrap(),
        bracket_frames: None,
        bracket_step_stops: None,
        frames_per_s: 5.0,
        tracked: false,
        filter_off_s: 0.0,
        limits: plan::CameraLimits::default(),
    }
}

/// The sheet for an eclipse as it is, in UTC.
fn sheet_of(contacts: &Contacts, view: &EclipseView) -> Sheet {
    let input = PlanInput {
        contacts,
        sky: &|t| view.at(t),
        zone: TimeZone::UTC,
        near_path: None,
        rehearsed: None,
        limb_lights: Vec::new(),
        skyline: None,
        gear: gear(),
    };
    plan::sheet(&input).unwrap()
}

fn sheet_with(eclipse: DrawnEclipse, gear: Gear) -> Result<Sheet, PlanError> {
    let contacts = eclipse.contacts();
    plan::sheet(&PlanInput {
        contacts: &contacts,
        sky: &|t| eclipse.sky(t),
        zone: TimeZone::get("America/Santiago").unwrap(),
        near_path: None,
        rehearsed: None,
        limb_lights: Vec::new(),
        skyline: None,
        gear,
    })
}

fn sheet(eclipse: DrawnEclipse) -> Sheet {
    sheet_with(eclipse, gear()).unwrap()
}

fn seconds(mark: &str) -> f64 {
    match mark.split_once('/') {
        Some((one, n)) => one.parse::<f64>().unwrap() / n.parse::<f64>().unwrap(),
        None => mark.parse().unwrap(),
    }
}

#[test]
fn exposures_agree_with_the_published_table() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/plan/exposure_guide.csv");
    let text = std::fs::read_to_string(path).unwrap();
    let mut rows = text.lines().filter(|l| !l.starts_with('#'));
    let apertures: Vec<f64> = rows
        .next()
        .unwrap()
        .split(',')
        .skip(3)
        .map(|f| f[1..].parse().unwrap())
        .collect();
    let mut cells = 0;
    for row in rows {
        let fields: Vec<&str> = row.split(',').collect();
        let (q, density): (f64, f64) = (fields[1].parse().unwrap(), fields[2].parse().unwrap());
        let ours = if fields[0] == "partial" {
            plan::filtered_q(density * plan::STOPS_PER_DENSITY)
        } else {
            plan::FEATURES
                .iter()
                .find(|f| f.key == fields[0])
                .unwrap()
                .q
        };
        assert!(
            (ours - q).abs() < 1e-9,
            "{}: Q {ours}, printed {q}",
            fields[0]
        );
        for (f_number, printed) in apertures.iter().zip(&fields[3..]) {
            if printed.is_empty() {
                continue;
            }
            let off = (plan::exposure_s(*f_number, 100.0, ours) / seconds(printed)).log2();
            assert!(
                off.abs() < 0.45,
                "{} at f/{f_number}: {off} stops from {printed}",
                fields[0]
            );
            cells += 1;
        }
    }
    assert_eq!(cells, 97);
}

#[test]
fn the_usual_filter_gives_the_usual_shutter() {
    // Common practice: f/8 and 1/800 s through 16 stops at low ISO; base near 1/2000 s at f/11 for beads.
    let partial_s = plan::exposure_s(8.0, 100.0, plan::filtered_q(16.0));
    assert!((partial_s * 800.0).log2().abs() < 0.5, "{partial_s}");
    let beads_s = plan::exposure_s(11.0, 100.0, plan::BRIGHTEST_Q);
    assert!((beads_s * 2000.0).log2().abs() < 1.0, "{beads_s}");
    assert!((plan::FIST_DEG - 10.0).abs() < 1e-12);
    // 8 * 8 / (100 * 2^8.55) is 1/585 s, nearest to 1/640 s on the dial: the sheet says how that stands to the usual 1/800 s.
    let said = sheet(TOTAL).notes.join(" ");
    assert!(
        said.contains("1/640 s with this gear")
            && said.contains("comes to 1/800 s, 0.4 stops shorter"),
        "{said}"
    );
    // Within the bracket of a partial for every filter that is sold.
    for filter_stops in [10.0, 13.3, 14.0, 15.0, 16.0, 16.6, 18.0] {
        let table_s = plan::exposure_s(5.6, 200.0, plan::filtered_q(filter_stops));
        let off = (table_s / plan::practice_s(5.6, 200.0, filter_stops)).log2();
        assert!(off.abs() < 1.0, "{filter_stops}: {off}");
    }
}

#[test]
fn the_sun_leaves_a_600_mm_frame_in_about_two_minutes() {
    let framing = |sensor: &str| {
        sheet_with(
            TOTAL,
            Gear {
                sensor: sensor.parse().unwrap(),
                ..gear()
            },
        )
        .unwrap()
        .framing
    };
    let crop = framing("aps-c");
    assert!(
        (90.0..180.0).contains(&crop.limb_at_short_edge_s.unwrap()),
        "{crop:?}"
    );
    let full = framing("full-frame");
    assert!((90.0..180.0).contains(&full.reaim_s.unwrap()), "{full:?}");
    // The Sun's image is the focal length over 109: 5.5 mm, 915 pixels of 6 micrometres.
    assert!(
        (full.disc_px - 600.0 / 109.0 / 0.006).abs() < 15.0,
        "{}",
        full.disc_px
    );
}

#[test]
fn drift_follows_the_sky() {
    // Northern noon: the Sun stands south, the pole is up, west lies to the right.
    let noon = SunMoon {
        sun_az_deg: 180.0,
        sun_alt_deg: 50.0,
        parallactic_deg: 0.0,
        ..TOTAL.sky(utc("2019-07-02T17:00:00Z"))
    };
    let north = plan::framing(&gear(), &Site::new(40.0, 0.0, 0.0).unwrap(), &noon);
    assert!(north.drift_right > 0.99 && north.drift_up.abs() < 0.01);
    assert!(
        (north.drift_arcsec_s - 15.0).abs() < 0.01,
        "declination 0 at altitude 50 from latitude 40"
    );
    // Southern noon: the Sun stands north, the pole is down, west lies to the left.
    let south = SunMoon {
        sun_az_deg: 0.0,
        parallactic_deg: 180.0,
        ..noon
    };
    let south = plan::framing(&gear(), &Site::new(-40.0, 0.0, 0.0).unwrap(), &south);
    assert!(south.drift_right < -0.99);
}

#[test]
fn filter_moments_stay_inside_totality() {
    let contacts = TOTAL.contacts();
    let filter = sheet(TOTAL).filter.unwrap();
    assert!(
        filter.off_utc >= contacts.c2.unwrap().utc && filter.on_utc <= contacts.c3.unwrap().utc
    );
    assert_eq!(filter.off_local, "16:38:13");
    assert_eq!(filter.on_local, "16:40:36");
}

#[test]
fn only_a_total_eclipse_speaks_of_taking_filters_off() {
    let low = DrawnEclipse {
        alt_at_maximum_deg: -20.0,
        ..TOTAL
    };
    for eclipse in [
        DrawnEclipse {
            kind: LocalKind::Annular,
            ..TOTAL
        },
        DrawnEclipse {
            kind: LocalKind::Partial,
            ..TOTAL
        },
        low,
    ] {
        let sheet = sheet(eclipse);
        for form in [sheet.text(), sheet.html(), sheet.json()] {
            let form = form.to_lowercase();
            for words in [
                "filter off",
                "filters off",
                "come off",
                "comes off",
                "off the lens",
                "no filter",
                "uncovered",
            ] {
                assert!(!form.contains(words), "'{words}' in {form}");
            }
            assert!(form.contains("never safe without filters"));
        }
        assert!(sheet.filter.is_none() && sheet.totality.is_none() && sheet.brackets.is_none());
    }
}

#[test]
fn every_form_carries_the_cautions() {
    let sheet = sheet(TOTAL);
    for form in [sheet.text(), sheet.html(), sheet.json()] {
        let flat = form.split_whitespace().collect::<Vec<_>>().join(" ");
        for words in [
            "Never look at the Sun",
            "ISO 12312-2",
            "only while totality lasts at your place",
            "seconds of uncertainty",
            "local guidance",
            "never safe without filters",
        ] {
            assert!(flat.contains(words), "'{words}' is missing");
        }
    }
}

#[test]
fn a_deep_partial_never_reads_as_total() {
    let partial = DrawnEclipse {
        kind: LocalKind::Partial,
        ..TOTAL
    };
    let contacts = Contacts {
        obscuration: 0.99987,
        ..partial.contacts()
    };
    let sheet = plan::sheet(&PlanInput {
        contacts: &contacts,
        sky: &|t| partial.sky(t),
        zone: TimeZone::UTC,
        near_path: None,
        rehearsed: None,
        limb_lights: Vec::new(),
        skyline: None,
        gear: gear(),
    })
    .unwrap();
    for form in [sheet.text(), sheet.html()] {
        assert!(
            form.contains("99.9 % of the area") && !form.contains("100.0 %"),
            "{form}"
        );
    }
}

#[test]
fn a_bracket_reaches_from_beads_to_outer_corona() {
    for (frames, step) in [
        (None, None),
        (Some(9), Some(1.0)),
        (Some(5), Some(2.0)),
        (Some(3), Some(0.5)),
    ] {
        let gear = Gear {
            bracket_frames: frames,
            bracket_step_stops: step,
            ..gear()
        };
        let sheet = sheet_with(TOTAL, gear).unwrap();
        let air = sheet.settings[0].air_stops[0].exp2();
        let brackets = sheet.brackets.unwrap();
        let chosen = &brackets.chosen;
        assert_eq!(chosen.exposures_s.len() as u32, chosen.frames * chosen.sets);
        for feature in plan::FEATURES.iter().filter(|f| f.q >= plan::FAINTEST_Q) {
            let wanted = plan::exposure_s(gear.f_number, gear.iso, feature.q);
            let wanted = wanted * air;
            let nearest = chosen
                .exposures_s
                .iter()
                .map(|t| (t / wanted).log2().abs())
                .fold(f64::MAX, f64::min);
            assert!(
                nearest <= plan::LATITUDE_STOPS + 1e-9,
                "{}: {nearest} stops with {frames:?} {step:?}",
                feature.name
            );
        }
        assert!(chosen.takes_s > chosen.exposures_s.iter().sum());
    }
}

#[test]
fn totality_keeps_a_minute_to_look() {
    let sheet = sheet(TOTAL);
    let plan = sheet.totality.unwrap();
    assert!((plan.look_s - 60.0).abs() < 1e-9);
    let starts: Vec<f64> = plan.steps.iter().map(|s| s.from_c2_s).collect();
    assert!(starts.is_sorted() && plan.brackets >= 1, "{plan:?}");
    let short = Gear {
        frames_per_s: 0.1,
        bracket_frames: Some(3),
        ..gear()
    };
    let busy = sheet_with(TOTAL, short).unwrap().totality.unwrap();
    assert_eq!(busy.brackets, 0, "no whole run fits, and the minute stays");
    assert!((busy.look_s - 60.0).abs() < 1e-9);
}

#[test]
fn partials_come_every_five_minutes_with_the_sun_up() {
    let sheet = sheet(TOTAL);
    let contacts = TOTAL.contacts();
    let (c2, c3) = (contacts.c2.unwrap().utc, contacts.c3.unwrap().utc);
    assert!(sheet.partials.len() > 20, "{}", sheet.partials.len());
    for pair in sheet.partials.windows(2) {
        let gap = pair[1].utc.seconds_since(pair[0].utc);
        assert!(
            (gap - 300.0).abs() < 1e-6
                || pair[0].utc < c2 && pair[1].utc > c3
                || pair[1].utc == contacts.c4.utc
        );
    }
    assert!(sheet.partials.iter().all(|p| p.sun_alt_deg > 0.0
        && (c2.seconds_since(p.utc) >= 60.0 || p.utc.seconds_since(c3) >= 60.0)));
    let last = sheet.partials.last().unwrap();
    assert!(last.low_sun_stops > 1.0, "the Sun is near the horizon");
}

/// Rows of a table of places in the sky: its line, the site, the instant, the name, and the numbers after the name, altitude and
/// azimuth first.
fn sky_rows(name: &str) -> Vec<(String, Site, Utc, String, Vec<f64>)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    let text = std::fs::read_to_string(path).unwrap();
    let rows = text.lines().filter(|l| !l.starts_with('#')).skip(1);
    rows.map(|row| {
        let f: Vec<&str> = row.split(',').collect();
        let number = |text: &&str| text.parse::<f64>().unwrap();
        let site = Site::new(number(&f[1]), number(&f[2]), 0.0).unwrap();
        let numbers = f[4..].iter().map(number).collect();
        (row.to_owned(), site, utc(f[0]), f[3].to_owned(), numbers)
    })
    .collect()
}

/// Degrees between an altitude and azimuth and those of a row.
fn off_deg((alt, az): (f64, f64), due: &[f64]) -> f64 {
    let off_az = ((az - due[1] + 180.0).rem_euclid(360.0) - 180.0) * due[0].to_radians().cos();
    (alt - due[0]).hypot(off_az)
}

#[test]
fn planets_stand_where_an_independent_ephemeris_has_them() {
    let rows = sky_rows("fixtures/plan/planets.csv");
    for (row, site, at, name, due) in &rows {
        let up = plan::planets_up(site, *at);
        let ours = up
            .iter()
            .find(|p| p.name == name)
            .unwrap_or_else(|| panic!("{row} is not up"));
        let off = off_deg((ours.alt_deg, ours.az_deg), due);
        assert!(off < 0.25, "{row}: {off} degrees off");
        assert!(
            (ours.from_sun_deg - due[2]).abs() < 0.25,
            "{row}: {}",
            ours.from_sun_deg
        );
    }
    assert!(rows.len() >= 20, "{}", rows.len());
}

#[test]
fn stars_stand_where_an_independent_reduction_has_them() {
    let rows = sky_rows("fixtures/plan/stars.csv");
    for (row, site, at, name, due) in &rows {
        let up = plan::stars_up(site, *at);
        let ours = up
            .iter()
            .find(|p| p.name == name)
            .unwrap_or_else(|| panic!("{row} is not up"));
        let off = off_deg((ours.alt_deg, ours.az_deg), due);
        assert!(off < 0.1, "{row}: {off} degrees off");
    }
    assert!(rows.len() >= 30, "{}", rows.len());
}

#[test]
fn strange_gear_is_refused_with_its_range() {
    for wrong in [
        Gear {
            focal_mm: f64::NAN,
            ..gear()
        },
        Gear {
            focal_mm: 0.0,
            ..gear()
        },
        Gear {
            f_number: -8.0,
            ..gear()
        },
        Gear {
            iso: f64::INFINITY,
            ..gear()
        },
        Gear {
            filter_stops: 99.0,
            ..gear()
        },
        Gear {
            bracket_frames: Some(0),
            ..gear()
        },
        Gear {
            frames_per_s: 0.0,
            ..gear()
        },
    ] {
        let error = sheet_with(TOTAL, wrong).unwrap_err();
        assert!(error.to_string().contains("is outside"), "{error}");
    }
    let none = DrawnEclipse {
        kind: LocalKind::None,
        ..TOTAL
    };
    assert!(matches!(
        sheet_with(none, gear()),
        Err(PlanError::NoEclipse(_))
    ));
}

#[test]
fn json_is_readable_and_names_its_units() {
    let value: serde_json::Value = serde_json::from_str(&sheet(TOTAL).json()).unwrap();
    assert_eq!(value["kind"], "total");
    assert_eq!(value["contacts"].as_array().unwrap().len(), 5);
    assert!(value["framing"]["disc_px"].as_f64().unwrap() > 900.0);
    assert!(value["settings"][0]["exposure_s"].as_f64().unwrap() > 0.0);
}

#[test]
fn text_fits_a_page() {
    let text = sheet(TOTAL).text();
    let widest = text.lines().map(|l| l.chars().count()).max().unwrap();
    assert!(widest <= 100, "{widest} columns");
    if let Ok(folder) = std::env::var("SHOW") {
        for (name, eclipse) in [
            ("total", TOTAL),
            (
                "annular",
                DrawnEclipse {
                    kind: LocalKind::Annular,
                    ..TOTAL
                },
            ),
        ] {
            std::fs::write(
                Path::new(&folder).join(format!("{name}.txt")),
                sheet(eclipse).text(),
            )
            .unwrap();
            std::fs::write(
                Path::new(&folder).join(format!("{name}.html")),
                sheet(eclipse).html(),
            )
            .unwrap();
        }
    }
}

#[test]
fn real_eclipses_keep_the_rules_wherever_they_are_seen() {
    let sites = [
        (-30.03, -70.71),
        (40.3, -3.7),
        (42.0, -4.5),
        (64.1, -21.9),
        (71.0, -25.0),
        (25.7, 32.6),
        (31.8, -106.4),
        (29.4, -98.5),
        (44.0, -72.7),
        (-77.5, 160.0),
        (-21.8, 114.1),
        (35.0, -105.0),
        (0.0, 0.0),
        (80.0, 100.0),
    ];
    let days = [
        "2019-07-02",
        "2021-12-04",
        "2023-04-20",
        "2023-10-14",
        "2024-04-08",
        "2026-08-12",
        "2027-08-02",
        "2030-06-01",
    ];
    let (mut sheets, mut total, mut annular) = (0, 0, 0);
    for (lat, lon) in sites {
        let site = Site::new(lat, lon, 0.0).unwrap();
        for day in days {
            let Ok(view) = contacts::view(&site, day.parse().unwrap(), &ContactsOptions::default())
            else {
                continue;
            };
            let Ok(contacts) = contacts::of_view(&view) else {
                continue;
            };
            let sheet = sheet_of(&contacts, &view);
            sheets += 1;
            total += u32::from(sheet.totality_seen);
            annular += u32::from(sheet.kind == LocalKind::Annular);
            let text = sheet.text() + &sheet.html() + &sheet.json();
            assert_eq!(
                text.contains("come off"),
                sheet.totality_seen,
                "{lat},{lon} {day}"
            );
            if let Some(filter) = &sheet.filter {
                assert!(
                    filter.off_utc >= contacts.c2.unwrap().utc
                        && filter.on_utc <= contacts.c3.unwrap().utc
                );
                assert!(sheet.totality_seen);
            }
            assert!(
                !text.contains("NaN") && !text.contains("inf "),
                "{lat},{lon} {day}"
            );
            assert!(
                sheet
                    .partials
                    .iter()
                    .all(|p| (-0.3..=90.0).contains(&p.sun_alt_deg))
            );
        }
    }
    assert!(
        sheets > 40 && total >= 5 && annular >= 1,
        "{sheets} sheets, {total} total, {annular} annular"
    );
}

#[test]
fn a_sun_that_is_down_throughout_leaves_nothing_to_shoot() {
    let site = Site::new(-10.0, -140.0, 0.0).unwrap();
    let view = contacts::view(
        &site,
        "2027-08-02".parse().unwrap(),
        &ContactsOptions::default(),
    )
    .unwrap();
    let contacts = contacts::of_view(&view).unwrap();
    let sheet = sheet_of(&contacts, &view);
    assert!(sheet.headline().contains("the Sun is down throughout"));
    assert!(sheet.text().contains("CONTACTS") && sheet.html().contains("Contacts"));
    for empty in ["COUNTDOWN", "PARTIALS", "Countdown", "Partials, every"] {
        assert!(!sheet.text().contains(empty) && !sheet.html().contains(empty));
    }
}

/// The sheet of a place on a day, in UTC, on the Moon's mean limb.
fn real(site: &str, day: &str, gear: Gear) -> Sheet {
    sheet_at(site, day, &ContactsOptions::default(), None, gear)
}

/// The sheet of a place on a day, in UTC, with a horizon measured from the spot or none.
fn sheet_at(
    site: &str,
    day: &str,
    options: &ContactsOptions,
    horizon: Option<&str>,
    gear: Gear,
) -> Sheet {
    let site: Site = site.parse().unwrap();
    let view = contacts::view(&site, day.parse().unwrap(), options).unwrap();
    let contacts = contacts::of_view_with(&view, options.limb).unwrap();
    plan::sheet(&PlanInput {
        contacts: &contacts,
        sky: &|t| view.at(t),
        zone: TimeZone::UTC,
        near_path: contacts::near_path(&view, &contacts),
        rehearsed: None,
        limb_lights: contacts::limb_lights(&view, &contacts),
        skyline: horizon.map(|lines| lines.parse().unwrap()),
        gear,
    })
    .unwrap()
}

/// Times of all lines of the countdowns, in their order on the sheet.
fn countdown_times(sheet: &Sheet) -> Vec<Utc> {
    let blocks = sheet.countdowns.iter();
    blocks.flat_map(|b| b.lines.iter().map(|l| l.utc)).collect()
}

#[test]
fn near_the_limit_no_time_uncovers_the_lens() {
    // 4.9 s of totality by the mean limb, contacts uncertain by more.
    let sheet = real("29.47753,-98.5,200", "2024-04-08", gear());
    assert!(sheet.totality_seen && sheet.filter_withheld && sheet.filter.is_none());
    assert!(
        sheet
            .totality
            .as_ref()
            .unwrap()
            .steps
            .iter()
            .all(|s| s.local.is_empty())
    );
    for form in [sheet.text(), sheet.html(), sheet.json()] {
        let flat = form.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains("Near the limit of the path"), "{flat}");
        assert!(!flat.contains("filter off the lens now"), "{flat}");
    }
    assert!(countdown_times(&sheet).is_sorted());
    // Well inside the path nothing is withheld and nothing crosses.
    let inside = real("25.54,-103.41,1120", "2024-04-08", gear());
    assert!(inside.warnings.is_empty() && inside.filter.is_some());
    assert!(countdown_times(&inside).is_sorted());
}

#[test]
fn totality_takes_the_air_as_partials_do() {
    let low = real("39.5,3.1,10", "2026-08-12", gear());
    let low_text = low.text();
    let alt_deg = low.contacts[2].sun_alt_deg;
    assert!((1.0..4.0).contains(&alt_deg), "{alt_deg}");
    let beads = low.settings.iter().find(|s| s.key == "beads").unwrap();
    let expected =
        plan::exposure_s(8.0, 100.0, plan::BRIGHTEST_Q) * plan::low_sun_stops(alt_deg).exp2();
    let shortest = low.brackets.unwrap().chosen.exposures_s[0];
    assert!((shortest / expected).log2().abs() <= plan::LATITUDE_STOPS + 1e-9);
    assert!(beads.air_stops[0] > 2.0 && beads.air_stops[1] > beads.air_stops[0]);
    assert_ne!(beads.shutter, beads.hazy_shutter);
    // Ten magnitudes of haze leave no shutter for the outer corona, and the sheet names none.
    let outer = low.settings.iter().find(|s| s.key == "corona-8").unwrap();
    assert_eq!(outer.hazy_shutter, "too dim");
    assert!(low_text.contains("too dim"));
}

#[test]
fn an_annular_eclipse_has_its_ring_on_the_sheet() {
    let sheet = real("35.08,-106.65,1600", "2023-10-14", gear());
    let ring = sheet.ring.as_ref().unwrap();
    assert!(ring.steps.iter().map(|s| s.from_c2_s).is_sorted());
    let maximum = sheet.contacts[2].utc;
    assert!(
        sheet.partials.iter().any(|p| p.utc == maximum),
        "a row at maximum"
    );
    assert!(sheet.text().contains("ANNULARITY, FILTER ON THROUGHOUT"));
    assert!(
        sheet
            .html()
            .contains("beads along the edge where the ring breaks")
    );
}

#[test]
fn the_countdown_names_the_partials_of_the_table() {
    let sheet = real("25.54,-103.41,1120", "2024-04-08", gear());
    let (c2, c3) = (sheet.contacts[1].utc, sheet.contacts[3].utc);
    let first = sheet.partials.iter().find(|p| p.utc > c3).unwrap();
    let last = sheet.partials.iter().rev().find(|p| p.utc < c2).unwrap();
    let said = |words: &str| {
        let lines = sheet.countdowns.iter().flat_map(|b| &b.lines);
        lines
            .filter(|l| l.action.contains(words))
            .map(|l| l.utc)
            .collect::<Vec<_>>()
    };
    assert_eq!(said("First five-minute partial"), [first.utc]);
    assert_eq!(said("card and battery checked"), [last.utc]);
}

#[test]
fn the_filter_comes_off_early_only_when_asked_and_says_what_it_risks() {
    let early = Gear {
        filter_off_s: 12.0,
        ..gear()
    };
    let sheet = real("25.54,-103.41,1120", "2024-04-08", early);
    let filter = sheet.filter.as_ref().unwrap();
    assert!((sheet.contacts[1].utc.seconds_since(filter.off_utc) - 12.0).abs() < 1e-6);
    assert_eq!(filter.ring_frames, 120);
    let flat = sheet
        .text()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    for words in [
        "Never an eye at an optical finder",
        "risks the sensor and the shutter",
        "filters on until the last bead is gone",
    ] {
        assert!(flat.contains(words), "{words}: {flat}");
    }
    assert!(countdown_times(&sheet).is_sorted());
}

#[test]
fn brackets_stay_within_the_camera() {
    let slow = Gear {
        iso: 400.0,
        limits: plan::CameraLimits {
            fastest_s: 1.0 / 4000.0,
            most_frames: 5,
            ..plan::CameraLimits::default()
        },
        ..gear()
    };
    let sheet = real("25.54,-103.41,1120", "2024-04-08", slow);
    let brackets = sheet.brackets.as_ref().unwrap();
    assert!(brackets.weighed.iter().all(|b| b.frames <= 5));
    assert!(
        brackets
            .chosen
            .exposures_s
            .iter()
            .all(|s| *s >= 1.0 / 4000.0 - 1e-12)
    );
    assert!(brackets.beyond_fastest_stops > 1.0);
    assert!(sheet.notes.join(" ").contains("lower the ISO"));
}

#[test]
fn a_place_outside_the_path_is_told_where_it_lies() {
    // Madrid on 2026 August 12: magnitude 0.9994, totality a few kilometres off to the north.
    let sheet = real("40.4168,-3.7038,650", "2026-08-12", gear());
    let path = sheet.near_path.unwrap();
    assert_eq!(path.kind, LocalKind::Total);
    assert!((0.5..12.0).contains(&path.limit_km), "{path:?}");
    assert!(
        path.limit_bearing_deg < 90.0 || path.limit_bearing_deg > 270.0,
        "{path:?}"
    );
    assert!(path.line_km.unwrap() > path.limit_km && path.line_duration_s.unwrap() > 60.0);
    let flat = sheet
        .text()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(
        flat.contains("The edge of the path of totality lies"),
        "{flat}"
    );
    assert!(
        real("42.34,-3.70,860", "2026-08-12", gear())
            .near_path
            .is_none()
    );
}

/// A sheet with a horizon measured from the spot, on the Moon's real limb.
fn with_horizon(site: &str, day: &str, horizon: &str) -> Sheet {
    sheet_at(site, day, &ContactsOptions::real(), Some(horizon), gear())
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

const LOW: (&str, &str) = ("39.5,3.1,10", "2026-08-12");

#[test]
fn a_measured_horizon_says_what_it_hides() {
    // 2.2 degrees up at third contact, 288 degrees round: a hill of 1 degree leaves totality, one of 4 takes it.
    let clear = with_horizon(LOW.0, LOW.1, "270,1\n290,1\n310,1");
    assert!(clear.warnings.is_empty(), "{:?}", clear.warnings);
    assert!(flat(&clear.text()).contains(
        "Degrees from the Sun down to your horizon: C1 11.2, C2 1.4, maximum 1.3, C3 1.2."
    ));
    let report = clear.horizon_file.as_ref().unwrap();
    assert_eq!(report.hidden.len(), 1, "{report:?}");
    let span = &report.hidden[0];
    let (c3, c4) = (clear.contacts[3].utc, clear.contacts[4].utc);
    assert!(span.from_utc > c3 && span.to_utc == c4);
    for partial in &clear.partials {
        assert_eq!(partial.behind_horizon, partial.utc >= span.from_utc);
    }
    let hill = with_horizon(LOW.0, LOW.1, "270,4\n290,4\n310,4");
    assert!(hill.warnings.iter().any(|w| w.contains("hides totality")));
    let at = |n: usize| hill.contacts[n].sight.unwrap().word();
    assert_eq!([at(0), at(1), at(3)], ["clear", "hidden", "hidden"]);
    let steps = &hill.totality.as_ref().unwrap().steps;
    assert!(steps.iter().all(|s| s.behind_horizon));
    assert!((hill.contacts[1].clearance_deg.unwrap() - (2.4 - 4.0)).abs() < 0.1);
    for form in [hill.text(), hill.html(), hill.json()] {
        assert!(
            flat(&form).contains("Your horizon hides totality"),
            "{form}"
        );
    }
    assert!(flat(&hill.text()).contains(
        "C2: behind your horizon. The Sun is 2.4 degrees up, the horizon towards WNW 4.0."
    ));
    let json: serde_json::Value = serde_json::from_str(&hill.json()).unwrap();
    assert_eq!(json["contacts"][1]["sight"], "hidden");
    assert_eq!(json["totality"]["steps"][0]["behind_horizon"], true);
    assert_eq!(
        json["horizon_file"]["hidden"][0]["to_utc"],
        json["contacts"][4]["utc"]
    );
}

#[test]
fn a_horizon_that_says_nothing_where_the_sun_goes_says_so() {
    let sheet = with_horizon(LOW.0, LOW.1, "90,5\n100,5");
    assert!(sheet.horizon_file.as_ref().unwrap().silent);
    assert!(flat(&sheet.text()).contains("taken as flat there"));
    assert_eq!(sheet.contacts[1].sight.unwrap().word(), "clear");
}

#[test]
fn the_diamond_is_told_and_drawn_where_the_limbs_part() {
    let sheet = with_horizon("25.7,32.64,80", "2027-08-02", "0,0\n20,0");
    assert_eq!(sheet.limb_lights.len(), 2);
    for line in &sheet.limb_lights {
        let light = &line.light;
        // By the mean limb the last and first light stand opposite the Moon's centre; mountains move them along the limb.
        let away_deg = light.sky.position_angle_deg() + 180.0;
        let off_deg = (light.position_angle_deg - away_deg + 180.0).rem_euclid(360.0) - 180.0;
        assert!(off_deg.abs() < 25.0, "{light:?}");
        let q = light.position_angle_deg - light.vertex_angle_deg - light.sky.parallactic_deg;
        assert!(
            ((q + 180.0).rem_euclid(360.0) - 180.0).abs() < 0.1,
            "q = P - V"
        );
        assert!(light.lit_deg.iter().any(|(from, to)| {
            (light.position_angle_deg - from).rem_euclid(360.0)
                <= (to - from).rem_euclid(360.0) + 1e-9
        }));
        let page = sheet.html().replace("&#39;", "'");
        assert!(line.diamond && page.contains(&line.zenith_up));
        assert!(flat(&sheet.text()).contains(&line.zenith_up));
    }
    let page = sheet.html();
    assert_eq!(
        page.matches("<path class=\"diamond\"").count(),
        4,
        "two views of each"
    );
    assert_eq!(page.matches("<svg").count(), page.matches("</svg>").count());
    // The star of the zenith-up view stands at the vertex angle: read back from the drawing.
    let star = page.split("<path class=\"diamond\" d=\"M").nth(1).unwrap();
    let mut numbers = star.split(['L', ' ']);
    let mut next = || numbers.next().unwrap().parse::<f64>().unwrap();
    let (x, y) = (next(), next() + 15.0);
    let vertex_deg = (-x).atan2(-y).to_degrees();
    let off_deg = (vertex_deg - sheet.limb_lights[0].light.vertex_angle_deg).rem_euclid(360.0);
    assert!(
        off_deg.min(360.0 - off_deg) < 6.0,
        "{vertex_deg}: {off_deg}"
    );
}

#[test]
fn the_pole_that_is_up_is_that_of_the_place() {
    let south = with_horizon("-33.87,151.21,20", "2028-07-22", "0,0\n20,0");
    let line = &south.limb_lights[0];
    assert_eq!(line.pole.word(), "south");
    assert_eq!(
        line.pole_up,
        contactstrip::domain::clock_face(line.light.position_angle_deg + 180.0)
    );
    let ring = with_horizon("35.08,-106.65,1600", "2023-10-14", "0,0\n20,0");
    assert!(ring.limb_lights.iter().all(|l| !l.diamond));
    assert!(ring.html().contains("Where the ring closes and breaks"));
    assert!(flat(&ring.text()).contains("The filter stays on."));
}

#[test]
fn the_path_over_the_horizon_passes_the_contacts() {
    for (site, day) in [
        LOW,
        ("-33.87,151.21,20", "2028-07-22"),
        ("70.485,-21.967,20", "2026-08-12"),
    ] {
        let sheet = with_horizon(site, day, "0,1\n20,2\n40,1");
        for contact in sheet.contacts.iter().filter(|c| c.sun_up) {
            let near = sheet.sun_path.iter().min_by(|a, b| {
                let off_s = |p: &plan::PathPoint| p.utc.seconds_since(contact.utc).abs();
                off_s(a).total_cmp(&off_s(b))
            });
            let near = near.unwrap();
            assert!(near.utc.seconds_since(contact.utc).abs() < 90.0);
            assert!((near.alt_deg - contact.sun_alt_deg).abs() < 0.5);
        }
        let azimuths = sheet.sun_path.windows(2);
        assert!(
            azimuths
                .into_iter()
                .all(|w| (w[0].az_deg - w[1].az_deg).abs() < 20.0)
        );
        let page = sheet.html();
        assert!(page.contains("class=\"chart\"") && page.contains("class=\"ground\""));
    }
}

#[test]
fn at_the_very_edge_the_real_limb_decides() {
    // 2026 August 12 north of Madrid: a smooth Moon gives 19 s of totality, the Moon's valleys none, 3 km further on some seconds.
    let open = "0,0\n20,0";
    let edge = with_horizon("40.497,-3.7038,650", "2026-08-12", open);
    assert_eq!(edge.kind, LocalKind::Partial);
    let path = edge.near_path.unwrap();
    assert_eq!(path.limit_limb, contactstrip::domain::MoonLimb::Real);
    assert!((1.0..6.0).contains(&path.limit_km), "{path:?}");
    for form in [edge.text(), edge.html()] {
        assert!(form.contains("99.9 %") && !form.contains("100.0 %"));
        assert!(flat(&form).contains("At the very edge of the path"));
        assert!(!flat(&form).contains("come off"));
    }
    let outside = with_horizon("40.437,-3.7038,650", "2026-08-12", open);
    let further = outside.near_path.unwrap();
    assert!(further.limit_km > path.limit_km + 3.0, "{further:?}");
    // A hundred metres within the edge that is told there is totality.
    let (sin, cos) = path.limit_bearing_deg.to_radians().sin_cos();
    let degrees = (path.limit_km + 0.3) / 111.2;
    let lat = 40.497 + degrees * cos;
    let lon = -3.7038 + degrees * sin / 40.5_f64.to_radians().cos();
    let inside = with_horizon(&format!("{lat},{lon},650"), "2026-08-12", open);
    assert_eq!(inside.kind, LocalKind::Total, "{path:?}");
    assert!(inside.near_limit && inside.near_path.is_none());
}

#[test]
fn planets_of_the_frame_are_told() {
    // 2027 August 2, Luxor: Venus 2.8 degrees from the Sun, outside a frame of 3.4 by 2.3 degrees and inside that of a 200 mm lens.
    let long = with_horizon("25.7,32.64,80", "2027-08-02", "0,0\n20,0");
    assert!(long.planets.iter().all(|p| p.in_frame_deg.is_none()));
    assert!(flat(&long.text()).contains("None stands in a level frame"));
    let wide = |focal_mm| real("25.7,32.64,80", "2027-08-02", Gear { focal_mm, ..gear() });
    let sheet = wide(200.0);
    let venus = sheet.planets.iter().find(|p| p.name == "Venus").unwrap();
    let (right, up) = venus.in_frame_deg.unwrap();
    assert!(
        (right.hypot(up) - venus.from_sun_deg).abs() < 0.1,
        "{venus:?}"
    );
    // Nearly overhead the Sun stands at azimuth 196; Venus, at 216 and as high, is to the right.
    assert!(right > 2.0 && venus.by_eye, "{venus:?}");
    assert!(flat(&sheet.text()).contains("Venus stands"));
    // All within 45 degrees across and 31 up and down of a 20 mm lens.
    let all = wide(20.0).planets;
    let framed: Vec<&str> = all
        .iter()
        .filter(|p| p.in_frame_deg.is_some())
        .map(|p| p.name)
        .collect();
    assert_eq!(framed, ["Venus", "Jupiter", "Mercury"]);
    // Of the stars Pollux, Castor and Procyon stand in it, and none fainter than an eye finds; none where there is no totality.
    let sheet = wide(20.0);
    let stars: Vec<&str> = sheet.stars.iter().map(|s| s.name).collect();
    for name in ["Procyon", "Pollux", "Castor", "Regulus"] {
        assert!(stars.contains(&name), "{name} of {stars:?}");
    }
    assert!(
        sheet
            .stars
            .iter()
            .all(|s| s.magnitude <= plan::TOTALITY_LIMIT_MAG)
    );
    assert!(flat(&sheet.text()).contains("Stars in it, brightest first: "));
    assert!(sheet.html().contains(">Procyon</text>"));
    assert!(real("41.9,12.5,40", "2026-08-12", gear()).stars.is_empty());
    for (site, day) in [LOW, ("-33.87,151.21,20", "2028-07-22")] {
        assert!(
            real(site, day, gear())
                .planets
                .iter()
                .all(|p| p.alt_deg >= 1.0)
        );
    }
}

#[test]
fn a_sun_that_sets_eclipsed_is_told() {
    // Rome, 2026 August 12: the Sun sets before maximum. The headline tells what is seen, not what would be.
    let sheet = real("41.9,12.5,40", "2026-08-12", gear());
    assert_eq!(sheet.crossings.len(), 1);
    let set = &sheet.crossings[0];
    assert!(!set.rising && set.utc < sheet.contacts[1].utc);
    assert!(set.obscuration < sheet.obscuration - 0.05, "{set:?}");
    assert_eq!(sheet.most_covered, Some(set.obscuration));
    let last = sheet.partials.last().unwrap();
    assert!(last.utc < set.utc && set.utc.seconds_since(last.utc) < 300.0);
    assert!(sheet.headline().ends_with("at the most, when the Sun sets"));
    assert!(flat(&sheet.text()).contains(&format!("The Sun sets at {}", set.local)));
    // No shutter for a Sun below the horizon: those of first contact, 6.7 degrees up.
    assert_eq!(sheet.settings_at, ContactKind::C1);
    assert!(
        sheet
            .text()
            .contains("SETTINGS, FOR THE SUN'S HEIGHT AT C1")
    );
    let expected = plan::low_sun_stops(sheet.contacts[0].sun_alt_deg);
    assert!((sheet.settings[0].air_stops[0] - expected).abs() < 1e-9);
    // Nothing of totality on the sheet of a partial eclipse.
    for words in [
        "before C2",
        "Brackets are set",
        "Sky of totality",
        "Keplerian",
    ] {
        assert!(!flat(&sheet.text()).contains(words), "{words}");
    }
    let high = real("25.54,-103.41,1120", "2024-04-08", gear());
    assert!(high.crossings.is_empty() && high.settings_at == ContactKind::Maximum);
}
