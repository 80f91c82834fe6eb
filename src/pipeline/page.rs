//! Gathers what the web page shows.

use std::io::Write as _;
use std::path::Path;

use super::corona::{CORONA_PNG, CORONA_TIFF};
use super::earlier::{open, recipe_there};
use super::out::OutFolder;
use super::{Made, PipelineError, Target, Watch, keepsake};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::contacts::{self, Beads, ContactsOptions, LitInstant};
use crate::domain::{
    ContactKind, Contacts, Coverage, LocalKind, Notice, Orientation, Role, SunMoon,
};
use crate::ephemeris::EclipseView;
use crate::plan;
use crate::raster;
use crate::report::{
    self, DueLight, PICTURE_LIMIT_BYTES, PageInput, THUMBS_BYTES, Thumb, WrittenFile,
};

/// Name of the page below OUT.
pub const REPORT_FILE: &str = "report.html";

/// Longest side of the strip and the corona on the page, and the smaller ones tried when that is too many bytes.
const SIDES_PX: [usize; 4] = [2400, 1600, 1200, 800];

/// JPEG quality of the pictures on the page.
const PICTURE_QUALITY: u8 = 85;

/// Writes the page from the record and from the pictures that are there.
///
/// # Errors
/// [`PipelineError`] when the record cannot be read or the page cannot be written.
pub fn report(target: &Target, watch: &dyn Watch) -> Result<Made, PipelineError> {
    let opened = open(target)?;
    let mut made = report_into(&opened.catalogue, &opened.folder, target.dry_run, watch)?;
    made.notices.extend(opened.folder.told());
    Ok(made)
}

/// Names below OUT of the strips of beads at second and third contact.
pub(crate) const BEADS_PICTURES: [&str; 2] = ["beads-c2.png", "beads-c3.png"];

/// Pictures below OUT that the page shows or looks at.
pub(crate) const SHOWN: [&str; 5] = [
    "strip.png",
    CORONA_PNG,
    CORONA_TIFF,
    BEADS_PICTURES[0],
    BEADS_PICTURES[1],
];

/// All that the page shows besides the record and the pictures, in one text.
pub(crate) fn asked(catalogue: &Catalogue, folder: &OutFolder) -> String {
    let recipe = recipe_there(catalogue, folder).ok().flatten();
    let place = recipe.is_some_and(|recipe| recipe.embed_location);
    let files = written(&folder.path);
    let files = files
        .iter()
        .map(|f| format!("{} {:?}", f.name, f.size_bytes));
    format!("{place} {:?}", files.collect::<Vec<_>>())
}

pub(crate) fn report_into(
    catalogue: &Catalogue,
    folder: &OutFolder,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let out = folder.path.as_path();
    if !dry_run {
        keepsake::keep_thumbs(out, catalogue, watch)?;
        watch.begin("writing the page", 1);
        let strip = on_page(&out.join("strip.png"));
        let corona = on_page(&out.join(CORONA_PNG));
        let beads: Vec<(String, Vec<u8>)> = BEADS_PICTURES
            .into_iter()
            .filter_map(|name| Some((name.to_owned(), on_page(&out.join(name))?)))
            .collect();
        let bytes: u64 = catalogue
            .shots
            .iter()
            .map(|record| keepsake::thumb_bytes(out, catalogue, record))
            .sum();
        let beside = bytes > THUMBS_BYTES;
        let seen = seen(catalogue, out);
        let view = view(catalogue);
        let coverage = view.as_ref().map(|view| {
            with_seen(
                plan::coverage(&catalogue.in_sequence(), &|utc| view.at(utc)),
                &seen,
            )
        });
        let recipe = recipe_there(catalogue, folder).ok().flatten();
        let page = report::page(
            catalogue,
            &PageInput {
                thumb: &|record| match beside {
                    true => keepsake::thumb_beside(out, catalogue, record).map(Thumb::Beside),
                    false => keepsake::thumb(out, catalogue, record).map(Thumb::Within),
                },
                thumbs_beside: beside,
                beads: &beads,
                strip: strip.as_deref(),
                corona: corona.as_deref(),
                curve: &curve(catalogue, view.as_ref()),
                coverage: coverage.as_ref(),
                due_light: &due_light(catalogue, view.as_ref()),
                embed_location: recipe.is_some_and(|recipe| recipe.embed_location)
                    && catalogue.lets_tell_place(),
                files: &written(out),
            },
        );
        folder.write(REPORT_FILE, |file| file.write_all(page.as_bytes()))?;
        watch.end();
    }
    Ok(Made {
        files: vec![out.join(REPORT_FILE)],
        ..Made::default()
    })
}

/// What to tell where the page there is shows earlier pictures than those that are there now.
pub(super) fn stale(out: &Path) -> Option<Notice> {
    let written = |name: &str| {
        std::fs::metadata(out.join(name))
            .and_then(|m| m.modified())
            .ok()
    };
    let page = written(REPORT_FILE)?;
    let pictures = [
        "strip.png",
        "strip.jpg",
        CORONA_PNG,
        BEADS_PICTURES[0],
        BEADS_PICTURES[1],
    ];
    let newer = pictures
        .into_iter()
        .filter_map(written)
        .any(|picture| picture > page);
    newer.then(|| {
        let text =
            "it shows the earlier pictures; `contactstrip report` on this folder writes it anew";
        Notice::note(text).about(REPORT_FILE)
    })
}

/// The eclipse at the site, with the Earth's turn of the record.
pub(super) fn view(catalogue: &Catalogue) -> Option<EclipseView> {
    let known = catalogue.contacts.as_ref()?;
    let options = ContactsOptions {
        delta_t_s: Some(known.delta_t_s),
        ..ContactsOptions::on(known.limb)
    };
    contacts::view(&known.site, known.eclipse_date, &options).ok()
}

/// A clock less sure than this, in seconds, does not say which beads a frame shows.
const SURE_OF_BEADS_S: f64 = 2.5;

/// Most frames shown beside the light due in them.
const MOST_DUE: usize = 48;

/// The light due in the long lens's frames near second and third contact on the real limb, the nearest to a contact of them.
fn due_light(catalogue: &Catalogue, view: Option<&EclipseView>) -> Vec<DueLight> {
    let (Some(known), Some(view)) = (&catalogue.contacts, view) else {
        return Vec::new();
    };
    let mut all: Vec<DueLight> = contacts::beads(view, known)
        .iter()
        .flat_map(|beads| {
            let shots = catalogue.shots.iter().enumerate();
            let here = shots.filter(|(_, shot)| catalogue.is_here(shot));
            here.filter_map(|(n, shot)| due(n, shot, beads, known))
        })
        .collect();
    all.sort_by(|a, b| a.from_contact_s.abs().total_cmp(&b.from_contact_s.abs()));
    all.truncate(MOST_DUE);
    all.sort_by_key(|light| (catalogue.shots[light.shot].utc, light.shot));
    all
}

/// The light due in one frame about one contact; `None` for frames farther off than the beads are known, and unsure ones.
fn due(index: usize, shot: &ShotRecord, beads: &Beads, known: &Contacts) -> Option<DueLight> {
    let shown = shot.role == Some(Role::Tele) && shot.disc.is_some();
    let (utc, clock_s) = shot.utc.zip(shot.utc_sigma_s).filter(|_| shown)?;
    let event = known.events().find(|event| event.kind == beads.contact)?;
    let middle_s = 0.5 * shot.shot.exposure.shutter_s.unwrap_or(0.0);
    let from_contact_s = utc.seconds_since(beads.utc) + middle_s;
    let sigma_s = clock_s.hypot(event.sigma_s);
    let reach_s = beads.instants.iter().map(|i| i.from_contact_s.abs());
    let reach_s = reach_s.fold(0.0, f64::max);
    // The other side of the contact has no light, or an unbroken ring: only what sigma reaches is told there.
    let outwards = if beads.contact == ContactKind::C2 {
        -1.0
    } else {
        1.0
    };
    let out_s = outwards * from_contact_s;
    if sigma_s > SURE_OF_BEADS_S || out_s + sigma_s > reach_s || out_s < -sigma_s {
        return None;
    }
    let total = known.kind == LocalKind::Total;
    let lit = |out_s: f64| match total && out_s < 0.0 {
        true => Vec::new(),
        false => lit_at(beads, outwards * out_s),
    };
    let (near, far) = (lit(out_s - sigma_s), lit(out_s + sigma_s));
    // Outwards a total eclipse's light grows and a ring's shrinks.
    let (sure, perhaps) = if total { (near, far) } else { (far, near) };
    Some(DueLight {
        shot: index,
        contact: beads.contact,
        from_contact_s,
        sigma_s,
        sure,
        perhaps,
    })
}

/// What is lit at an instant, by the nearest that was worked out.
fn lit_at(beads: &Beads, from_contact_s: f64) -> Vec<report::Arc> {
    let nearest = beads.instants.iter().min_by(|a, b| {
        let off = |i: &LitInstant| (i.from_contact_s - from_contact_s).abs();
        off(a).total_cmp(&off(b))
    });
    let lit = nearest.into_iter().flat_map(|instant| &instant.lit);
    lit.map(|stretch| (stretch.from_deg, stretch.to_deg))
        .collect()
}

/// Sun and Moon over the eclipse.
pub(super) fn curve(catalogue: &Catalogue, view: Option<&EclipseView>) -> Vec<SunMoon> {
    let (Some(known), Some(view)) = (&catalogue.contacts, view) else {
        return Vec::new();
    };
    report::curve_moments(known)
        .into_iter()
        .map(|utc| view.at(utc))
        .collect()
}

/// Features of totality that the pictures below OUT show, by the first word of their name in the table of exposures, and
/// the picture.
fn seen(catalogue: &Catalogue, out: &Path) -> Vec<(&'static str, String)> {
    let beads = BEADS_PICTURES
        .into_iter()
        .find(|name| out.join(name).is_file());
    let mut found: Vec<(&str, String)> = beads
        .map(|name| ("Baily", name.to_owned()))
        .into_iter()
        .collect();
    if reddened(catalogue, out).is_some_and(|red| red) {
        found.push(("Prominences", CORONA_PNG.to_owned()));
    }
    found
}

/// Whether the corona's picture shows red beside the Moon's limb; `None` without such a picture.
fn reddened(catalogue: &Catalogue, out: &Path) -> Option<bool> {
    /// Red over green, linear, that no balanced corona has (our choice: prominences have three and more).
    const RED: f32 = 1.6;
    /// Least light that is looked at: darker red is noise.
    const LIT: f32 = 0.05;
    /// Least area, in thousandths of the ring that is looked at.
    const THOUSANDTHS: usize = 1;
    let moon = catalogue.corona.as_ref()?.moon;
    let frame = raster::decode(&out.join(CORONA_TIFF), Orientation::UPRIGHT).ok()?;
    let reach = 1.12 * moon.radius_px;
    let (mut all, mut red) = (0_usize, 0_usize);
    let range = |centre: f64, limit: usize| {
        let at = |v: f64| v.clamp(0.0, limit as f64) as usize;
        at(centre - reach)..at(centre + reach + 1.0)
    };
    for y in range(moon.y_px, frame.height()) {
        for x in range(moon.x_px, frame.width()) {
            let off = (x as f64 - moon.x_px).hypot(y as f64 - moon.y_px);
            if !(moon.radius_px + 1.0..reach).contains(&off) {
                continue;
            }
            let [r, g, _] = frame.rgb(x, y);
            all += 1;
            red += usize::from(r > LIT && r > RED * g);
        }
    }
    Some(all > 0 && red * 1_000 > THOUSANDTHS * all)
}

fn with_seen(mut coverage: Coverage, seen: &[(&str, String)]) -> Coverage {
    for due in &mut coverage.features {
        let found = seen.iter().find(|(name, _)| due.feature.starts_with(name));
        due.seen_in = found.map(|(_, picture)| picture.clone());
    }
    coverage
}

/// A picture at screen size, small enough for the page.
fn on_page(path: &Path) -> Option<Vec<u8>> {
    let frame = raster::decode(path, Orientation::UPRIGHT).ok()?;
    SIDES_PX
        .iter()
        .filter_map(|side| raster::thumbnail(&frame, frame.full(), *side, PICTURE_QUALITY).ok())
        .find(|bytes| bytes.len() <= PICTURE_LIMIT_BYTES)
}

/// The files of a run, in the order the README explains them; the page itself is not there yet.
fn written(out: &Path) -> Vec<WrittenFile> {
    [
        ("catalogue.json", "the record of the card"),
        ("shots.csv", "one row a shot"),
        ("films.csv", "one row a film"),
        ("strip.toml", "the strip's recipe, yours to edit"),
        ("strip.tif", "the strip, 16-bit"),
        ("strip.png", "the strip, lossless"),
        ("strip.jpg", "the strip, to share"),
        ("corona.exr", "the corona, linear light"),
        ("corona.fits", "the corona, linear light placed on the sky"),
        ("corona.tif", "the corona, 16-bit"),
        ("corona.png", "the corona, to share"),
        ("corona-change", "the corona at each place and what differs"),
        ("beads-c2.png", "beads and ring at second contact"),
        ("beads-c3.png", "beads and ring at third contact"),
        ("layers", "layers for blending by hand"),
        ("film-stills", "stills from the films"),
        ("time-lapse", "the steady time-lapse"),
        ("phases", "the shots by phase"),
    ]
    .into_iter()
    .filter_map(|(name, what)| {
        let meta = std::fs::metadata(out.join(name)).ok()?;
        Some(WrittenFile {
            name: name.to_owned(),
            what: what.to_owned(),
            size_bytes: meta.is_file().then_some(meta.len()),
        })
    })
    .collect()
}
