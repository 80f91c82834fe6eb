//! What holds for any place and any eclipse.

use contactstrip::contacts::{self, ContactsError, ContactsOptions};
use contactstrip::domain::{Contacts, LocalKind, Site};
use contactstrip::ephemeris::{Air, Eclipse, EclipseView, Radii, eclipses};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

fn eclipse() -> impl Strategy<Value = Eclipse> {
    (0..eclipses().len()).prop_map(|n| eclipses().nth(n).unwrap())
}

fn site() -> impl Strategy<Value = Site> {
    let lat = prop_oneof![-90.0..=90.0, Just(-90.0), Just(90.0)];
    let lon = prop_oneof![-180.0..=180.0, Just(-180.0), Just(180.0)];
    (lat, lon, -500.0..=9000.0).prop_map(|(lat, lon, elev)| Site::new(lat, lon, elev).unwrap())
}

/// A place near the middle of the eclipse, so that central phases are common.
fn near(eclipse: Eclipse, north: f64, east: f64) -> Site {
    let (lat, lon) = eclipse.greatest_at();
    let lat = (lat + north).clamp(-90.0, 90.0);
    Site::new(lat, (lon + east + 540.0).rem_euclid(360.0) - 180.0, 0.0).unwrap()
}

fn solved(eclipse: Eclipse, site: &Site) -> Option<Contacts> {
    contacts::of_eclipse(eclipse, site, &ContactsOptions::default()).ok()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, failure_persistence: None, rng_seed: RngSeed::Fixed(20_190_702), ..ProptestConfig::default() })]

    #[test]
    fn contacts_come_in_order_and_touch(eclipse in eclipse(), site in site()) {
        match contacts::of_eclipse(eclipse, &site, &ContactsOptions::default()) {
            Ok(contacts) => {
                let times: Vec<_> = contacts.events().map(|event| event.utc).collect();
                prop_assert!(times.is_sorted());
                prop_assert_eq!(contacts.c2.is_some(), contacts.c3.is_some());
                prop_assert_eq!(times.len() == 5, matches!(contacts.kind, LocalKind::Total | LocalKind::Annular));
                for event in [contacts.c1, contacts.c4] {
                    let sky = event.sky;
                    let gap = sky.separation_arcsec() - sky.sun_radius_arcsec - sky.moon_radius_arcsec;
                    prop_assert!(gap.abs() < 1e-3, "{gap}");
                    prop_assert!(sky.obscuration < 1e-4);
                }
                for event in contacts.events() {
                    prop_assert!(event.sigma_s.is_finite() && event.sigma_s > 0.0);
                    let q = event.position_angle_deg - event.vertex_angle_deg - event.sky.parallactic_deg;
                    prop_assert!(((q + 180.0).rem_euclid(360.0) - 180.0).abs() < 1e-6);
                    prop_assert!(event.sky.obscuration <= contacts.obscuration + 1e-3);
                }
            }
            Err(ContactsError::NotHere { miss_arcsec, .. }) => prop_assert!(miss_arcsec >= 0.0),
            Err(other) => prop_assert!(false, "{other}"),
        }
    }

    #[test]
    fn neighbours_see_nearly_the_same(eclipse in eclipse(), north in -8.0..8.0f64, east in -20.0..20.0f64) {
        // 1e-4 degrees are some 11 m; the shadow crosses that in 1/30 s, near the poles of the track a little slower.
        let site = near(eclipse, north, east);
        let beside = Site { lat_deg: (site.lat_deg - 1e-4).max(-90.0), ..site };
        if let (Some(a), Some(b)) = (solved(eclipse, &site), solved(eclipse, &beside)) {
            prop_assert!(a.maximum.utc.seconds_since(b.maximum.utc).abs() < 0.1);
            prop_assert!((a.magnitude - b.magnitude).abs() < 1e-4);
            if a.magnitude > 0.1 {
                prop_assert!(a.c1.utc.seconds_since(b.c1.utc).abs() < 0.2);
                prop_assert!(a.c4.utc.seconds_since(b.c4.utc).abs() < 0.2);
            }
            if let (Some(x), Some(y)) = (a.central_duration_s(), b.central_duration_s()) && x > 20.0 {
                prop_assert!((x - y).abs() < 1.0, "{x} {y}");
            }
        }
    }

    #[test]
    fn the_date_line_and_the_poles_are_places_like_others(eclipse in eclipse(), lat in -90.0..=90.0f64, lon in -180.0..180.0f64) {
        let west = Site::new(lat, -180.0, 10.0).unwrap();
        let east = Site::new(lat, 180.0, 10.0).unwrap();
        match (solved(eclipse, &west), solved(eclipse, &east)) {
            (Some(a), Some(b)) => prop_assert!(a.c1.utc.seconds_since(b.c1.utc).abs() < 1e-3),
            (a, b) => prop_assert_eq!(a.is_some(), b.is_some()),
        }
        let pole = 90f64.copysign(lat);
        let (a, b) = (Site::new(pole, 0.0, 0.0).unwrap(), Site::new(pole, lon, 0.0).unwrap());
        match (solved(eclipse, &a), solved(eclipse, &b)) {
            (Some(a), Some(b)) => prop_assert!(a.c4.utc.seconds_since(b.c4.utc).abs() < 1e-3),
            (a, b) => prop_assert_eq!(a.is_some(), b.is_some()),
        }
    }

    #[test]
    fn a_smaller_moon_makes_totality_shorter(eclipse in eclipse(), north in -3.0..3.0f64, east in -20.0..20.0f64) {
        let site = near(eclipse, north, east);
        let smaller = ContactsOptions { radii: Radii::IAU.with_inner(Radii::K_VALLEYS), ..Default::default() };
        if let (Some(a), Ok(b)) = (solved(eclipse, &site), contacts::of_eclipse(eclipse, &site, &smaller)) {
            prop_assert!(a.c1.utc.seconds_since(b.c1.utc).abs() < 1e-6);
            if let (Some(whole), Some(less)) = (a.central_duration_s(), b.central_duration_s()) {
                prop_assert_eq!(whole > less, a.kind == LocalKind::Total);
            }
        }
    }

    #[test]
    fn the_view_is_smooth_in_time(eclipse in eclipse(), site in site(), at in 0.0..1.0f64) {
        let view = EclipseView::new(eclipse, site, Radii::IAU, None);
        let (from, to) = eclipse.span();
        let utc = from.plus_s(at * to.seconds_since(from));
        let (a, b) = (view.at(utc), view.at(utc.plus_s(0.01)));
        // The Moon gains less than 1"/s on the Sun; away from the zenith the sky turns 15"/s.
        prop_assert!((a.moon_east_arcsec - b.moon_east_arcsec).hypot(a.moon_north_arcsec - b.moon_north_arcsec) < 0.02);
        prop_assert!((a.sun_alt_deg - b.sun_alt_deg).abs() < 1e-4);
        prop_assert!((0.0..=1.0).contains(&a.obscuration) && a.magnitude >= 0.0);
        prop_assert!((0.5..=1.001).contains(&a.vertical_squeeze), "{}", a.vertical_squeeze);
        let discs = view.discs(utc.seconds_since(view.origin()));
        prop_assert!((discs.separation_arcsec - a.separation_arcsec()).abs() < 1e-6);
    }

    #[test]
    fn air_moves_the_moon_only_along_the_vertical(
        eclipse in eclipse(), north in -60.0..60.0f64, east in -90.0..90.0f64, at in 0.0..1.0f64,
    ) {
        let site = near(eclipse, north, east);
        let Some(contacts) = solved(eclipse, &site) else {
            return Ok(());
        };
        let lasts_s = contacts.c4.utc.seconds_since(contacts.c1.utc);
        let sky = EclipseView::new(eclipse, site, Radii::IAU, None).at(contacts.c1.utc.plus_s(at * lasts_s));
        let (east, north) = Air::STANDARD.bent_offset(&sky, sky.moon_east_arcsec, sky.moon_north_arcsec);
        let (sin, cos) = sky.parallactic_deg.to_radians().sin_cos();
        let along = |e: f64, n: f64| e * cos - n * sin;
        let up = |e: f64, n: f64| e * sin + n * cos;
        let airless = (sky.moon_east_arcsec, sky.moon_north_arcsec);
        // Verticals close by 3 parts in 10,000 of at most 2,000".
        prop_assert!((along(east, north) - along(airless.0, airless.1)).abs() < 1.0);
        // Up and down keep their sides, and the air only presses together.
        let (bent, straight) = (up(east, north), up(airless.0, airless.1));
        prop_assert!(bent * straight >= 0.0 && bent.abs() <= straight.abs() + 1e-6, "{bent} {straight}");
        // The limb's height over its width is the squeeze.
        let r = sky.sun_radius_arcsec;
        let top = Air::STANDARD.bent_offset(&sky, r * sin, r * cos);
        let foot = Air::STANDARD.bent_offset(&sky, -r * sin, -r * cos);
        let side = Air::STANDARD.bent_offset(&sky, r * cos, -r * sin);
        let height = up(top.0, top.1) - up(foot.0, foot.1);
        let squeeze = height / (2.0 * along(side.0, side.1));
        prop_assert!((squeeze - Air::STANDARD.squeeze(sky.sun_alt_deg, r / 3600.0)).abs() < 1e-6);
    }
}
