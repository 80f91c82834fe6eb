//! The `report` room, through its door.

use std::collections::BTreeSet;
use std::path::Path;

use contactstrip::catalogue::{CameraRecord, Catalogue, ClockPoint, ShotRecord, Stray, VERSION};
use contactstrip::domain::{
    BurstPlace, CameraId, CameraStamp, CameraTime, CardFile, Circle, ClockCorrection,
    ClockEvidence, ClockMistake, ClockOutcome, DiscFit, Exposure, FileFormat, Flag, Flags, Limb,
    LocalKind, NoDisc, Notice, Orientation, Phase, Role, Shot, SiteSource, StrayKind, SunMoon,
    ZoneSource,
};
use contactstrip::plan;
use contactstrip::report::{self, PageInput, Thumb, WrittenFile};

use crate::plan::{DrawnEclipse, TOTAL};

/// A name that would break out of any attribute or element it is not escaped in.
const HOSTILE: &str = "DCIM/<script>alert(1)</script>\"'&.JPG";

fn body(model: &str) -> CameraId {
    CameraId {
        make: "Maker".into(),
        model: model.into(),
        serial: None,
    }
}

/// A phase by its time from the contacts.
fn phase(eclipse: DrawnEclipse, t: contactstrip::domain::Utc) -> Phase {
    let c = eclipse.contacts();
    let (c2, c3) = (
        c.c2.map_or(c.maximum.utc, |e| e.utc),
        c.c3.map_or(c.maximum.utc, |e| e.utc),
    );
    match t {
        t if t < c.c1.utc => Phase::Before,
        t if t < c2.plus_s(-20.0) => Phase::Ingress,
        t if t < c2.plus_s(5.0) => Phase::SecondContact,
        t if t < c3.plus_s(-5.0) => Phase::Totality,
        t if t < c3.plus_s(20.0) => Phase::ThirdContact,
        t if t < c.c4.utc => Phase::Egress,
        _ => Phase::After,
    }
}

fn shot(
    eclipse: DrawnEclipse,
    n: usize,
    name: String,
    from_maximum_s: f64,
    shutter_s: f64,
    model: &str,
) -> ShotRecord {
    let t = eclipse.contacts().maximum.utc.plus_s(from_maximum_s);
    let phase = phase(eclipse, t);
    let dark = matches!(
        phase,
        Phase::Totality | Phase::SecondContact | Phase::ThirdContact
    );
    let circle = Circle {
        x_px: 3000.2,
        y_px: 1999.7,
        radius_px: 457.0,
    };
    ShotRecord {
        shot: Shot {
            file: CardFile {
                name,
                path: "card/x.jpg".into(),
                format: FileFormat::Jpeg,
                size_bytes: 9_000_000,
                modified: None,
            },
            camera: Some(body(model)),
            stamp: Some(CameraStamp {
                time: CameraTime::new(jiff::civil::date(2019, 7, 2).at(16, 0, 0, 0)),
                has_subsec: false,
                offset_s: None,
                of_change: false,
            }),
            gps: None,
            exposure: Exposure {
                shutter_s: Some(shutter_s),
                f_number: Some(8.0),
                iso: Some(100.0),
                focal_mm: Some(600.0),
                ..Exposure::default()
            },
            orientation: Orientation::UPRIGHT,
            width_px: Some(6000),
            height_px: Some(4000),
        },
        role: Some(Role::Tele),
        utc: Some(t),
        utc_sigma_s: Some(0.4),
        phase,
        near_contact: None,
        burst: None,
        disc: (!n.is_multiple_of(17)).then_some(DiscFit {
            limb: if dark { Limb::Moon } else { Limb::Sun },
            sun: Some(circle),
            moon: dark.then_some(circle),
            sigma_px: 0.03,
            moon_sigma_px: None,
            limb_arc_deg: 300.0,
            residual_px: 0.2,
            blur_px: Some(1.1),
        }),
        no_disc: n.is_multiple_of(17).then(|| NoDisc::Dark {
            peak: n as f64 / 1000.0,
        }),
        look: None,
        north_deg: Some(12.0),
        mirrored: Some(false),
        predicted: Some(eclipse.sky(t)),
        quality: Some((n % 100) as f64 / 100.0),
        flags: if n % 23 == 5 {
            [Flag::Soft, Flag::Shaken].into_iter().collect()
        } else {
            Flags::default()
        },
        sibling: None,
    }
}

/// A fit of the Sun's limb.
const BARE_FIT: DiscFit = DiscFit {
    limb: Limb::Sun,
    sun: None,
    moon: None,
    sigma_px: 0.1,
    moon_sigma_px: None,
    limb_arc_deg: 100.0,
    residual_px: 0.2,
    blur_px: None,
};

/// A card of `count` shots: partials of two bodies, brackets of nine in totality, a hostile name, an unreadable file.
fn card(eclipse: DrawnEclipse, count: usize) -> Catalogue {
    let mut shots: Vec<ShotRecord> = (0..count)
        .map(|n| {
            let share = n as f64 / count as f64;
            let central = (0.4..0.6).contains(&share) && eclipse.kind == LocalKind::Total;
            let s = match share {
                _ if central => (share - 0.5) * 800.0,
                share if share < 0.5 => -100.0 - (0.4 - share) * 11_500.0,
                share => 100.0 + (share - 0.6) * 11_500.0,
            };
            let shutter_s = if central { (n % 9) as f64 - 11.0 } else { -9.6 };
            let model = if n % 3 == 0 { "B" } else { "A" };
            shot(
                eclipse,
                n,
                format!("DCIM/100/IMG_{n:04}.JPG"),
                s,
                shutter_s.exp2(),
                model,
            )
        })
        .collect();
    for (n, record) in shots
        .iter_mut()
        .enumerate()
        .filter(|(_, s)| s.phase == Phase::Totality)
    {
        record.burst = Some(BurstPlace {
            id: (n / 9) as u32,
            index: (n % 9) as u32 + 1,
        });
    }
    if let Some(first) = shots.first_mut() {
        first.shot.file.name = HOSTILE.into();
    }
    // The same trouble in other numbers.
    for (n, record) in shots.iter_mut().skip(1).step_by(20).take(3).enumerate() {
        record.no_disc = Some(NoDisc::Cluttered {
            percent: (12 + 7 * n) as f64,
        });
    }
    if let Some(last) = shots.last_mut() {
        last.phase = Phase::Unreadable;
        last.utc = None;
        last.predicted = None;
        last.shot.camera = None;
        last.flags = [Flag::NoTime].into_iter().collect();
    }
    let contacts = eclipse.contacts();
    let camera = |model: &str, error_s: f64| CameraRecord {
        id: body(model),
        label: format!("Maker {model}"),
        clock: ClockCorrection {
            zone_offset_s: -14_400,
            zone_source: ZoneSource::Place,
            error_s,
            sigma_s: 0.31,
            evidence: vec![ClockEvidence::Partials { frames: 24 }],
        },
        arcsec_per_px: Some(2.06),
        clock_outcome: ClockOutcome::Solved {
            mistake: ClockMistake::of(error_s, -14_400),
            others_s: Vec::new(),
        },
        clock_curve: Default::default(),
        clock_points: (0..25)
            .map(|n| ClockPoint {
                file: format!("IMG_{n:04}.JPG"),
                utc: contacts.c1.utc.plus_s(f64::from(n) * 300.0),
                residual_s: f64::from((n * 7) % 11) / 5.0 - 1.0 + if n == 12 { 9.0 } else { 0.0 },
                sigma_s: 0.9,
                outlier: n == 12,
            })
            .collect(),
    };
    Catalogue {
        corona: None,
        version: VERSION,
        program: "contactstrip 0.1.0".into(),
        cards: Vec::new(),
        sources: Vec::new(),
        site_source: Some(SiteSource::Given),
        zone: Some("America/Santiago".into()),
        contacts: Some(contacts.clone()),
        cameras: vec![camera("A", 12.4), camera("B", -0.8)],
        shots,
        films: Vec::new(),
        strays: vec![Stray {
            name: "MISC/<b>.txt".into(),
            reason: StrayKind::Text,
        }],
        notices: vec![
            Notice::look("no disc found (22° of limb, 60° needed); kept, not centred")
                .about(HOSTILE),
            Notice::note("the clock of Maker A was 12.4 s fast"),
        ],
    }
}

/// A small JPEG of a bright disc on black.
fn small_jpeg(width: u32, height: u32) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(width, height, |x, y| {
        let r =
            (f64::from(x) - f64::from(width) / 2.0).hypot(f64::from(y) - f64::from(height) / 2.0);
        if r < f64::from(height) / 4.0 {
            image::Rgb([250, 190, 90])
        } else {
            image::Rgb([4, 4, 6])
        }
    });
    let mut bytes = Vec::new();
    picture
        .write_with_encoder(image::codecs::jpeg::JpegEncoder::new_with_quality(
            &mut bytes, 70,
        ))
        .unwrap();
    bytes
}

fn page_of(
    catalogue: &Catalogue,
    eclipse: DrawnEclipse,
    thumb: &dyn Fn(&ShotRecord) -> Option<Vec<u8>>,
) -> String {
    let curve: Vec<SunMoon> = report::curve_moments(&eclipse.contacts())
        .into_iter()
        .map(|t| eclipse.sky(t))
        .collect();
    let coverage = plan::coverage(catalogue, &|t| eclipse.sky(t));
    let strip = small_jpeg(1200, 160);
    report::page(
        catalogue,
        &PageInput {
            thumb: &|shot| thumb(shot).map(Thumb::Within),
            thumbs_beside: false,
            beads: &[("beads-c2.png".into(), small_jpeg(400, 80))],
            strip: Some(&strip),
            corona: None,
            curve: &curve,
            coverage: Some(&coverage),
            due_light: &[],
            embed_location: true,
            files: &[WrittenFile {
                name: "phases/<x>.txt".into(),
                what: "a list".into(),
                size_bytes: Some(1234),
            }],
        },
    )
}

fn page(count: usize) -> String {
    let jpeg = small_jpeg(160, 107);
    page_of(&card(TOTAL, count), TOTAL, &|_| Some(jpeg.clone()))
}

/// Values of an attribute, in order.
fn attributes<'a>(html: &'a str, name: &str) -> Vec<&'a str> {
    let start = format!(" {name}=\"");
    html.split(start.as_str())
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect()
}

/// The page without its pictures and its script.
fn markup(html: &str) -> String {
    let (before, rest) = html.split_once("<script>\n").unwrap();
    before.to_owned() + rest.split_once("</script>").unwrap().1
}

/// The page with small pictures in files beside it.
fn page_beside(catalogue: &Catalogue) -> String {
    report::page(
        catalogue,
        &PageInput {
            thumb: &|shot| {
                Some(Thumb::Beside(format!(
                    ".cache/thumbs/{} é.jpg",
                    shot.name().len()
                )))
            },
            thumbs_beside: true,
            beads: &[],
            strip: None,
            corona: None,
            curve: &[],
            coverage: None,
            due_light: &[],
            embed_location: false,
            files: &[],
        },
    )
}

#[test]
fn a_thousand_shots_stay_under_eight_megabytes() {
    // As many bytes as the page takes within itself: the worst it can be.
    let each = usize::try_from(report::THUMBS_BYTES / 1000).unwrap();
    let catalogue = card(TOTAL, 1000);
    let html = page_of(&catalogue, TOTAL, &|_| Some(vec![0xAB; each]));
    assert_eq!(html.matches("<img loading=\"lazy\"").count(), 1000);
    assert!(html.len() < 8_000_000, "{} bytes", html.len());
    assert!(small_jpeg(160, 107).len() < each, "a usual thumbnail fits");
}

#[test]
fn every_frame_has_its_small_picture_however_large_the_card() {
    let html = page_beside(&card(TOTAL, 5000));
    let beside = "src=\".cache/thumbs/";
    assert_eq!(html.matches(beside).count(), 5000);
    assert!(html.contains("in the folder .cache/thumbs beside it"));
    assert!(html.contains("%20%C3%A9.jpg"), "letters of names are coded");
    assert!(html.len() < 8_000_000, "{} bytes", html.len());
    assert!(
        !page(60).contains("beside it."),
        "nothing is said where they are within"
    );
}

#[test]
fn pictures_come_first_and_lead_to_their_files() {
    let html = page_of(&card(TOTAL, 60), TOTAL, &|_| None);
    let ids: Vec<&str> = attributes(&html, "id")
        .into_iter()
        .filter(|id| !id.contains('-'))
        .collect();
    let place = |id: &str| {
        ids.iter()
            .position(|i| *i == id)
            .unwrap_or_else(|| panic!("no {id}"))
    };
    let order = [
        "strip", "beads", "curve", "contacts", "clocks", "missed", "frames", "shots", "files",
    ];
    assert!(
        order.windows(2).all(|w| place(w[0]) < place(w[1])),
        "{ids:?}"
    );
    assert!(html.contains("<a href=\"beads-c2.png\"><img"));
    assert!(html.contains("<a href=\"phases/%3Cx%3E.txt\">phases/&lt;x&gt;.txt</a>"));
    // Each clock is told once.
    assert_eq!(
        html.matches("12.4 s fast").count(),
        2,
        "in its section and in the notice of the record"
    );
    assert_eq!(
        html.matches("24 partials").count(),
        2,
        "once for each of two bodies"
    );
}

#[test]
fn points_and_pictures_lead_to_rows_and_a_shot_is_one_stop_for_keys() {
    let html = page(60);
    let table = html
        .split("id=\"shot-table\"")
        .nth(1)
        .unwrap()
        .split("</table>")
        .next()
        .unwrap();
    let curve = html
        .split("id=\"curve\"")
        .nth(1)
        .unwrap()
        .split("</section>")
        .next()
        .unwrap();
    let points = curve.matches("<a href=\"#r").count();
    assert!(
        points >= 59 && curve.matches("<title>").count() == points,
        "{points}"
    );
    assert_eq!(curve.matches("tabindex=\"-1\"").count(), points);
    assert_eq!(
        table.matches("<a href").count(),
        table.matches("tabindex=\"-1\"").count()
    );
    // The filters stand before the pictures they act on.
    assert!(html.find("id=\"filters\"") < html.find("id=\"p0\""));
    let script = html.split("<script>").nth(1).unwrap();
    assert!(script.contains("picture.hidden") && script.contains("showAll()"));
}

#[test]
fn a_wide_view_is_not_told_as_lacking_a_disc() {
    let mut catalogue = card(TOTAL, 60);
    for shot in &mut catalogue.shots {
        shot.role = Some(Role::Wide);
        shot.disc = None;
        shot.no_disc = Some(NoDisc::Dark { peak: 0.5 });
    }
    let html = page_of(&catalogue, TOTAL, &|_| None);
    assert!(!html.contains("without a disc") && !html.contains("no disc found,"));
}

#[test]
fn nothing_from_the_card_becomes_markup() {
    let html = page(60);
    let markup = markup(&html);
    assert!(
        !markup.contains("<script>alert")
            && !markup.contains("<b>.txt")
            && !markup.contains("<x>.txt")
    );
    assert!(markup.contains("&lt;script&gt;alert(1)&lt;/script&gt;&quot;&#39;&amp;.JPG"));
}

#[test]
fn the_page_asks_for_nothing_from_elsewhere() {
    let html = page(60);
    assert!(!html.contains("http:") && !html.contains("https:") && !html.contains("//cdn"));
    for source in attributes(&html, "src") {
        assert!(source.starts_with("data:image/jpeg;base64,"), "{source}");
    }
    // Files of the run are links now; they lie below the page's folder.
    let below =
        |target: &str| !target.contains(':') && !target.starts_with('/') && !target.contains("..");
    for target in attributes(&html, "href") {
        assert!(
            target.starts_with('#') || target == "data:," || below(target),
            "{target}"
        );
    }
    for source in attributes(&page_beside(&card(TOTAL, 60)), "src") {
        assert!(below(source), "{source}");
    }
    assert!(!html.contains("url(") && !html.contains("@import"));
}

#[test]
fn every_shot_is_on_the_curve_in_the_frames_and_in_the_table() {
    let html = page(300);
    let ids = attributes(&html, "id");
    let unique: BTreeSet<_> = ids.iter().collect();
    assert_eq!(ids.len(), unique.len(), "an id is used twice");
    for n in 0..300 {
        assert!(
            unique.contains(&&*format!("p{n}")) && unique.contains(&&*format!("r{n}")),
            "{n}"
        );
    }
    for target in attributes(&html, "href")
        .iter()
        .filter(|t| t.starts_with('#'))
    {
        assert!(unique.contains(&&target[1..]), "{target} leads nowhere");
    }
    // Every shot with a time has a tick in the drawing of the whole eclipse; ticks of one body share a path.
    let whole = html
        .split("<svg class=\"plot\"")
        .nth(1)
        .unwrap()
        .split("</svg>")
        .next()
        .unwrap();
    let ticks: usize = whole
        .lines()
        .filter(|l| l.contains("\"tick "))
        .map(|l| l.matches('M').count())
        .sum();
    let timed = card(TOTAL, 300)
        .shots
        .iter()
        .filter(|s| s.utc.is_some())
        .count();
    assert_eq!(ticks, timed);
    assert!(whole.contains("tick b0 flagged") && whole.contains("tick b1"));
}

#[test]
fn headings_go_down_one_step_at_a_time() {
    let html = markup(&page(60));
    let levels: Vec<u32> = html
        .match_indices("<h")
        .filter_map(|(at, _)| html[at + 2..].chars().next().and_then(|c| c.to_digit(10)))
        .collect();
    assert_eq!(levels.iter().filter(|l| **l == 1).count(), 1);
    assert!(levels.windows(2).all(|w| w[1] <= w[0] + 1), "{levels:?}");
    assert_eq!(
        html.matches("<img ").count(),
        attributes(&html, "alt").len()
    );
    for landmark in ["<header>", "<nav ", "<main ", "<footer>", "lang=\"en\""] {
        assert!(html.contains(landmark), "{landmark}");
    }
}

#[test]
fn the_page_says_what_was_missed_and_why() {
    let html = page(300);
    for words in [
        "1 frame could not be read",
        "without a disc: black frame",
        "3 frames without a disc: many other edges beside the round one<",
        "soft: out of focus",
        "1 frame no-time",
        "five-minute partials",
        "Corona 0.5 radii off the limb",
        "stops short of light",
        "1 file left alone",
        "12.4 s fast",
        "0.8 s slow",
        "Residuals of 25 frames",
        "± 1.4 s",
        "Never look at the Sun",
    ] {
        assert!(html.contains(words), "'{words}' is missing");
    }
}

/// Contrast of two `#rrggbb` colours. Source: WCAG 2.2, relative luminance and contrast ratio.
fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |hex: &str| {
        let channel = |at: usize| {
            let v = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
            if v <= 0.04045 {
                v / 12.92
            } else {
                ((v + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn every_colour_can_be_read_on_both_papers() {
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
    let html = page(3);
    let themes: Vec<&str> = html
        .split(":root{")
        .skip(1)
        .take(2)
        .map(|t| t.split('}').next().unwrap())
        .collect();
    for theme in themes {
        let colour = |name: &str| {
            let rest = theme.split(&format!("--{name}:")).nth(1).unwrap();
            &rest[..7]
        };
        for name in ["ink", "soft", "warn", "link", "b0", "b1", "b2", "b3", "b4"] {
            for ground in ["paper", "wash"] {
                let ratio = contrast(colour(name), colour(ground));
                assert!(ratio >= 4.5, "{name} on {ground}: {ratio:.2}");
            }
        }
    }
}

#[test]
fn the_same_card_gives_the_same_page() {
    assert_eq!(page(120), page(120));
}

#[test]
fn poor_cards_still_get_a_page() {
    let mut bare = card(TOTAL, 3);
    bare.contacts = None;
    bare.cameras.clear();
    bare.zone = None;
    bare.shots[1].shot.exposure.shutter_s = Some(f64::NAN);
    bare.shots[1].quality = Some(f64::INFINITY);
    let html = page_of(&bare, TOTAL, &|_| None);
    assert!(html.contains("No eclipse was found") && html.contains("no small picture"));
    assert!(!html.contains("NaN") && !html.contains("inf\""));
    let empty = Catalogue {
        shots: Vec::new(),
        notices: Vec::new(),
        films: Vec::new(),
        strays: Vec::new(),
        ..bare
    };
    assert!(
        report::page(
            &empty,
            &PageInput {
                thumb: &|_| None,
                thumbs_beside: false,
                beads: &[],
                strip: None,
                corona: None,
                curve: &[],
                coverage: None,
                due_light: &[],
                embed_location: false,
                files: &[]
            }
        )
        .contains("0 shots")
    );
}

#[test]
fn other_eclipses_never_speak_of_taking_filters_off() {
    for kind in [LocalKind::Annular, LocalKind::Partial] {
        let eclipse = DrawnEclipse { kind, ..TOTAL };
        let html = page_of(&card(eclipse, 40), eclipse, &|_| None);
        assert!(!html.contains("ilters come off") && html.contains("never safe without filters"));
    }
}

#[test]
fn coverage_counts_what_is_there_and_what_is_not() {
    let mut catalogue = card(TOTAL, 300);
    let full = plan::coverage(&catalogue, &|t| TOTAL.sky(t));
    assert!(full.partials.iter().all(|p| p.file.is_some()));
    let hole = TOTAL.contacts().c1.utc.plus_s(1800.0);
    catalogue
        .shots
        .retain(|s| s.utc.is_none_or(|t| t.seconds_since(hole).abs() > 400.0));
    let holed = plan::coverage(&catalogue, &|t| TOTAL.sky(t));
    let missed: Vec<_> = holed
        .partials
        .iter()
        .filter(|p| p.file.is_none())
        .map(|p| p.utc)
        .collect();
    assert!(missed.contains(&hole) && missed.len() <= 3, "{missed:?}");
    // Brackets from 2^-11 s to 2^-3 s at f/8 and ISO 100: exponents 10.4 down to 2.4.
    let held = |name: &str| {
        holed
            .features
            .iter()
            .find(|f| f.feature.starts_with(name))
            .unwrap()
    };
    assert!(held("Prominences").frames > 0 && held("Corona 0.5").frames > 0);
    let outer = held("Corona 4");
    assert!(
        outer.frames == 0 && (outer.nearest_off_stops.unwrap() + 3.36).abs() < 0.05,
        "{outer:?}"
    );
    let beads = held("Baily");
    assert!(
        beads.frames == 0 && beads.nearest_off_stops.unwrap() > 1.0,
        "{beads:?}"
    );
}

#[test]
fn crescents_taken_before_the_filter_came_off_hold_no_feature_of_totality() {
    let mut catalogue = card(TOTAL, 300);
    for shot in &mut catalogue.shots {
        if matches!(
            shot.phase,
            Phase::Totality | Phase::SecondContact | Phase::ThirdContact
        ) {
            // As a filtered partial of 2^-9.6 s, two stops longer for the thin crescent.
            shot.phase = Phase::SecondContact;
            shot.shot.exposure.shutter_s = Some(2_f64.powf(-7.6));
            shot.disc = shot.disc.map(|fit| DiscFit {
                limb: Limb::Sun,
                ..fit
            });
            shot.disc.get_or_insert(BARE_FIT);
            shot.flags = Flags::default();
        }
    }
    let frames = |catalogue: &Catalogue| -> u32 {
        let coverage = plan::coverage(catalogue, &|t| TOTAL.sky(t));
        coverage.features.iter().map(|f| f.frames).sum()
    };
    assert_eq!(frames(&catalogue), 0);
    // Bare, the same exposure drowns: it is one of the corona then.
    for shot in &mut catalogue.shots {
        shot.flags.set(Flag::Flare);
    }
    assert!(frames(&catalogue) > 0);
}

#[test]
fn a_spoilt_partial_is_told_only_where_there_is_no_better_one() {
    let mut catalogue = card(TOTAL, 300);
    let due = TOTAL.contacts().c1.utc.plus_s(1800.0);
    let away_s = |shot: &ShotRecord| shot.utc.map_or(1e9, |t| t.seconds_since(due).abs());
    for shot in &mut catalogue.shots {
        shot.flags = Flags::default();
        if away_s(shot) < 60.0 {
            shot.flags.set(Flag::Cut);
        }
    }
    let words = "no better frame than a spoilt one";
    assert!(!page_of(&catalogue, TOTAL, &|_| None).contains(words));
    for shot in catalogue.shots.iter_mut().filter(|s| away_s(s) < 160.0) {
        shot.flags.set(Flag::Cut);
    }
    let html = page_of(&catalogue, TOTAL, &|_| None);
    assert!(html.contains(words) && html.contains("(cut)"));
}

#[test]
fn a_page_to_look_at() {
    let html = page(1000);
    assert!(html.ends_with("</html>\n"));
    if let Ok(folder) = std::env::var("SHOW") {
        std::fs::write(Path::new(&folder).join("report.html"), html).unwrap();
        std::fs::write(Path::new(&folder).join("small.html"), page(40)).unwrap();
    }
}

/// What a practice series is drawn with.
#[derive(Clone, Copy)]
struct Practice {
    blur_px: f64,
    blur_growth: f64,
    level: f64,
    clipped: f64,
    drift_px_s: (f64, f64),
    radius_px: f64,
    clock_error_s: f64,
    gps: bool,
}

const SOUND: Practice = Practice {
    blur_px: 1.2,
    blur_growth: 0.0,
    level: 0.45,
    clipped: 0.0,
    drift_px_s: (0.0, 0.0),
    radius_px: 457.0,
    clock_error_s: 0.3,
    gps: true,
};

/// Thirty frames, half a minute apart, aimed anew after each ten, of the Sun of 20 March 2026: declination 0.
fn practice(p: Practice) -> Vec<ShotRecord> {
    let start = jiff::civil::date(2026, 3, 20).at(11, 0, 0, 0);
    (0..30)
        .map(|n| {
            let s = f64::from(n) * 30.0;
            let since_aim_s = f64::from(n % 10) * 30.0;
            let clock = start
                .checked_add(jiff::SignedDuration::from_secs_f64(
                    s + p.clock_error_s + 0.2,
                ))
                .unwrap();
            let mut record = shot(TOTAL, 1, format!("P_{n:03}.JPG"), 0.0, 1.0 / 800.0, "A");
            record.shot.stamp = Some(CameraStamp {
                time: CameraTime::new(clock.round(jiff::Unit::Millisecond).unwrap()),
                has_subsec: true,
                offset_s: None,
                of_change: false,
            });
            record.shot.gps = p.gps.then(|| contactstrip::domain::GpsFix {
                lat_deg: 0.0,
                lon_deg: 0.0,
                elev_m: None,
                // The camera is set three hours east of Greenwich.
                utc: Some(crate::plan::utc("2026-03-20T08:00:00.2Z").plus_s(s)),
            });
            let centre = |start: f64, rate: f64| start + rate * since_aim_s;
            let sun = Circle {
                x_px: centre(3000.0, p.drift_px_s.0),
                y_px: centre(2000.0, p.drift_px_s.1),
                radius_px: p.radius_px,
            };
            record.disc = record.disc.map(|fit| DiscFit {
                limb: Limb::Sun,
                sun: Some(sun),
                moon: None,
                blur_px: Some(p.blur_px * (1.0 + p.blur_growth * f64::from(n) / 29.0)),
                ..fit
            });
            record.look = Some(contactstrip::domain::FrameLook {
                disc_level: Some(p.level),
                clipped: p.clipped,
                ..Default::default()
            });
            record.phase = Phase::Unrelated;
            record.flags = Flags::default();
            record
        })
        .collect()
}

fn point(p: Practice, name: &str) -> report::Point {
    let rehearsal = report::rehearsal(&practice(p));
    assert_eq!(rehearsal.bodies.len(), 1);
    rehearsal.bodies[0]
        .points
        .iter()
        .find(|point| point.name == name)
        .unwrap()
        .clone()
}

#[test]
fn a_sound_rehearsal_has_nothing_to_mend() {
    let rehearsal = report::rehearsal(&practice(SOUND));
    assert_eq!(rehearsal.to_mend(), 0, "{}", rehearsal.text());
    let text = rehearsal.text();
    assert!(
        text.contains("Nothing to fix") && text.contains("Never look at the Sun"),
        "{text}"
    );
    assert!(!text.contains("come off"));
    let mut shuffled = practice(SOUND);
    shuffled.reverse();
    assert_eq!(report::rehearsal(&shuffled), rehearsal);
}

#[test]
fn each_fault_is_found_and_only_that() {
    // The Sun's radius of 964 seconds of arc over 457 pixels is 2.11 a pixel; 15 a second are 7.11 pixels a second.
    let faults: [(&str, Practice, &str); 9] = [
        (
            "focus",
            Practice {
                blur_px: 4.0,
                ..SOUND
            },
            "limb blurred by 4.0 px",
        ),
        (
            "focus",
            Practice {
                blur_growth: 1.0,
                ..SOUND
            },
            "the blur grows",
        ),
        (
            "exposure",
            Practice {
                level: 0.1,
                ..SOUND
            },
            "disc at 10 %",
        ),
        (
            "exposure",
            Practice {
                level: 1.0,
                clipped: 0.02,
                ..SOUND
            },
            "30 frames clipped",
        ),
        (
            "drift",
            Practice {
                drift_px_s: (6.0, -9.0),
                ..SOUND
            },
            "faster than the sky",
        ),
        (
            "drift",
            Practice {
                drift_px_s: (0.6, 0.5),
                ..SOUND
            },
            "the mount follows",
        ),
        (
            "disc",
            Practice {
                radius_px: 1500.0,
                blur_px: 1.0,
                ..SOUND
            },
            "75 % of the short side",
        ),
        (
            "clock",
            Practice {
                clock_error_s: 37.0,
                ..SOUND
            },
            "37.0 s fast",
        ),
        (
            "clock",
            Practice {
                clock_error_s: -12.0,
                ..SOUND
            },
            "12.0 s slow",
        ),
    ];
    for (name, fault, words) in faults {
        let rehearsal = report::rehearsal(&practice(fault));
        let mend: Vec<_> = rehearsal.bodies[0]
            .points
            .iter()
            .filter(|p| p.verdict == report::Verdict::Mend)
            .collect();
        assert!(mend.len() == 1 && mend[0].name == name, "{name}: {mend:?}");
        assert!(mend[0].found.contains(words), "{words}: {}", mend[0].found);
        assert!(!mend[0].advice.is_empty());
    }
}

#[test]
fn a_rehearsal_measures_what_a_sheet_takes() {
    let measured = |p: Practice| report::rehearsal(&practice(p)).bodies[0].measured.clone();
    let sound = measured(SOUND);
    // 964 seconds of arc on 20 March (The Astronomical Almanac's 16' 04") over 457 pixels.
    assert!((sound.arcsec_per_px.unwrap() - 964.0 / 457.0).abs() < 0.003);
    assert_eq!(sound.follows, Some(true));
    assert!((sound.clock_error_s.unwrap() - 0.3).abs() < 0.01);
    // 1/800 s is right at the level wanted, with the aperture and ISO of the header.
    let exposure = practice(SOUND)[0].shot.exposure;
    let (n, iso) = (exposure.f_number.unwrap(), exposure.iso.unwrap());
    let q = (n * n / iso * 800.0).log2();
    assert!((sound.filtered_q.unwrap() - q).abs() < 1e-6);
    // Half as bright wants twice the time: a stop less of Q.
    let dark = measured(Practice {
        level: 0.225,
        ..SOUND
    });
    assert!((dark.filtered_q.unwrap() - (q - 1.0)).abs() < 1e-6);
    // Eight o'clock on the Greenwich meridian and the equator at the equinox: 28 degrees up, the equation of time 7.4 minutes.
    assert!((sound.sun_alt_deg.unwrap() - 31.0).abs() < 3.5, "{sound:?}");
    let still = measured(Practice {
        drift_px_s: (15.0 / 964.0 * 457.0, 0.0),
        ..SOUND
    });
    assert_eq!(still.follows, Some(false));
    assert!((still.drift_arcsec_s.unwrap() - 15.0).abs() < 0.2);
    let lone = measured(Practice {
        gps: false,
        ..SOUND
    });
    assert_eq!((lone.clock_error_s, lone.sun_alt_deg), (None, None));
    let json = report::rehearsal(&practice(SOUND)).json();
    assert_eq!(report::kept_practice(&json).unwrap(), [sound]);
}

#[test]
fn a_rehearsal_says_what_to_change_in_numbers() {
    // Four times too dark at 1/800 s wants about 1/200 s: 0.1125 for 0.45.
    assert!(
        point(
            Practice {
                level: 0.1125,
                ..SOUND
            },
            "exposure"
        )
        .advice
        .contains("try 1/200 s")
    );
    // A still mount at declination 0: 7.11 px/s, one pixel in 1/7 s, 1543 px of room gone in 217 s, aim twice as often.
    let still = point(
        Practice {
            drift_px_s: (7.11, 0.0),
            ..SOUND
        },
        "drift",
    );
    assert!(
        still.verdict == report::Verdict::Good && still.found.contains("stands still"),
        "{still:?}"
    );
    assert!(
        still.advice.contains("aim again every 1 min 48")
            && still.advice.contains("1/8 s or shorter"),
        "{still:?}"
    );
    // 0.1 px/s is 0.21 seconds of arc a second: an axis 0.8 degrees off.
    let followed = point(
        Practice {
            drift_px_s: (0.0, 0.1),
            ..SOUND
        },
        "drift",
    );
    assert!(followed.found.contains("0.8 degrees"), "{followed:?}");
    let none = point(
        Practice {
            gps: false,
            ..SOUND
        },
        "clock",
    );
    assert_eq!(none.verdict, report::Verdict::NotKnown);
}

#[test]
fn a_rehearsal_of_nothing_is_no_trouble() {
    assert!(report::rehearsal(&[]).text().contains("No frames"));
    let mut bare = practice(SOUND);
    for record in &mut bare {
        record.disc = None;
        record.look = None;
        record.shot.stamp = None;
        record.shot.gps = None;
        record.shot.camera = None;
        record.shot.width_px = None;
    }
    let rehearsal = report::rehearsal(&bare);
    assert_eq!(rehearsal.bodies[0].points.len(), 6);
    assert_eq!(
        rehearsal.to_mend(),
        1,
        "only the frames: {}",
        rehearsal.text()
    );
    if let Ok(folder) = std::env::var("SHOW") {
        std::fs::write(
            Path::new(&folder).join("rehearsal.txt"),
            report::rehearsal(&practice(Practice {
                drift_px_s: (5.0, 5.0),
                level: 0.1,
                ..SOUND
            }))
            .text(),
        )
        .unwrap();
    }
}
