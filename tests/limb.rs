//! The `limb` room, through its door: against profiles worked out from the whole map and DE421's own orientation of the Moon.
#![allow(clippy::print_stdout)] // figures for who asks with --nocapture

use std::path::Path;

use contactstrip::domain::{MoonAspect, Site, Utc};
use contactstrip::ephemeris::{EclipseView, Radii, eclipse_near};
use contactstrip::limb::{Arc, Sightline};

/// `pa_deg` and `rho_arcsec` of `fixtures/reference/limb_profile_*.csv`.
fn reference(name: &str) -> Vec<(f64, f64)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/reference")
        .join(name);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap();
    let row = |row: csv::StringRecord| (row[0].parse().unwrap(), row[1].parse().unwrap());
    reader
        .records()
        .map(|record| row(record.unwrap()))
        .collect()
}

/// The place and instant of a reference profile; its position angles count from the pole of the ICRS.
fn sightline(date: &str, site: Site, utc: &str) -> Sightline {
    let eclipse = eclipse_near(date.parse().unwrap()).unwrap();
    let view = EclipseView::new(eclipse, site, Radii::IAU, None);
    let aspect = view.moon_aspect(Utc::new(utc.parse().unwrap()));
    Sightline::new(&MoonAspect {
        pole: [0.0, 0.0, 1.0],
        ..aspect
    })
}

fn site(lat_deg: f64, lon_deg: f64, elev_m: f64) -> Site {
    Site::new(lat_deg, lon_deg, elev_m).unwrap()
}

/// 3600 points each; what is left is the orientation (76 m rms) and the table's steps of 15 m.
#[test]
fn profiles_are_those_of_the_whole_map() {
    for (name, line) in [
        (
            "limb_profile_2017.csv",
            sightline(
                "2017-08-21",
                site(34.2469, -82.1533, 180.0),
                "2017-08-21T18:40:30.7Z",
            ),
        ),
        (
            "limb_profile_2019.csv",
            sightline(
                "2019-07-02",
                site(-30.03, -70.71, 620.0),
                "2019-07-02T20:39:30Z",
            ),
        ),
    ] {
        let rows = reference(name);
        assert_eq!(rows.len(), 3600);
        let off = |(deg, radius): &(f64, f64)| line.radius_arcsec(*deg) - radius;
        let rms = (rows.iter().map(|row| off(row).powi(2)).sum::<f64>() / 3600.0).sqrt();
        let mean = rows.iter().map(off).sum::<f64>() / 3600.0;
        let largest = rows.iter().map(|row| off(row).abs()).fold(0.0, f64::max);
        println!("{name}: rms {rms:.4} mean {mean:.4} largest {largest:.4} arcsec");
        assert!(rms < 0.02, "{name}: {rms}");
        // The reference looks at the map's own points only, which puts its limb some 0.01" low (see `Sightline`).
        assert!((-0.002..0.012).contains(&mean), "{name}: {mean}");
        assert!(largest < 0.15, "{name}: {largest}");
    }
}

/// `libration_l_deg` and `libration_b_deg` of `fixtures/reference/limb_contacts_open.csv`, at mid-eclipse or so.
#[test]
fn libration_is_that_of_the_reference() {
    let line = sightline(
        "1999-08-11",
        site(44.4268, 26.1025, 85.0),
        "1999-08-11T11:07:00Z",
    );
    let (l, b) = line.libration_deg();
    assert!(
        (l - 4.752).abs() < 0.01 && (b + 0.186).abs() < 0.01,
        "{l} {b}"
    );
}

#[test]
fn a_sampled_arc_gives_its_points_back() {
    let line = sightline(
        "2019-07-02",
        site(-30.03, -70.71, 620.0),
        "2019-07-02T20:39:30Z",
    );
    let profile = line.profile(Arc::about(5.0, 8.0), 0.1);
    assert_eq!(profile.points().len(), 161);
    assert!((profile.position_deg(0) - 357.0).abs() < 1e-9);
    let (deg, radius) = profile.points().nth(80).unwrap();
    assert!((deg - 5.0).abs() < 1e-9 && (radius - line.radius_arcsec(5.0)).abs() < 1e-9);
    assert!((profile.radius_arcsec(5.0).unwrap() - radius).abs() < 1e-6);
    assert!(profile.radius_arcsec(14.0).is_none() && profile.radius_arcsec(356.9).is_none());
    let whole = line.profile(Arc::WHOLE, 1.0);
    assert_eq!(whole.points().len(), 360);
    assert!(whole.radius_arcsec(359.5).is_some());
}

/// Every eclipse of the table from where it is greatest: the band holds the librations that occur.
#[test]
fn librations_stay_within_the_band() {
    for eclipse in contactstrip::ephemeris::eclipses() {
        let (lat, lon) = eclipse.greatest_at();
        for (dlat, dlon) in [(0.0, 0.0), (25.0, 30.0), (-25.0, -30.0), (20.0, -40.0)] {
            let place = site(
                (lat + dlat).clamp(-90.0, 90.0),
                (lon + dlon + 180.0).rem_euclid(360.0) - 180.0,
                0.0,
            );
            let view = EclipseView::new(eclipse, place, Radii::IAU, None);
            let (l, b) = Sightline::new(&view.moon_aspect(eclipse.greatest())).libration_deg();
            assert!(l.abs() < 6.9 && b.abs() < 1.3, "{} {l} {b}", eclipse.date());
        }
    }
}

/// Unpacking the heights and one place's contacts on the real limb; the target is 50 ms in a release build on an idle core.
#[test]
fn one_place_takes_little_time() {
    let eclipse = eclipse_near("2019-07-02".parse().unwrap()).unwrap();
    let options = contactstrip::contacts::ContactsOptions::real();
    let view = EclipseView::new(eclipse, site(-30.03, -70.71, 620.0), options.radii, None);
    let start = std::time::Instant::now();
    let found = contactstrip::contacts::of_view_with(&view, options.limb).unwrap();
    let first = start.elapsed();
    let start = std::time::Instant::now();
    let again = contactstrip::contacts::of_view_with(&view, options.limb).unwrap();
    println!("first {first:?}, then {:?}", start.elapsed());
    assert_eq!(found, again);
    assert!(first.as_secs_f64() < 5.0, "{first:?}");
}
