//! The `flag` room, through its door: records of a lens whose light is known.

use contactstrip::catalogue::ShotRecord;
use contactstrip::domain::{
    CameraId, CardFile, Circle, DiscFit, DiscLook, Exposure, FileFormat, Flag, Flags, FrameLook,
    Limb, Orientation, Phase, Role, Shot, SunMoon, Utc,
};
use contactstrip::flag::across_card;

/// A frame `minutes` after some moment, of an exposure of so many stops above the usual; `cloud` takes stops of its light.
fn frame(minutes: f64, phase: Phase, stops: f64, cloud: f64) -> ShotRecord {
    let utc = Utc::from_unix_s(1.7e9 + 60.0 * minutes);
    let covered = phase == Phase::Totality;
    let circle = Circle {
        x_px: 200.0,
        y_px: 150.0,
        radius_px: 60.0,
    };
    let shutter_s = 2_f64.powf(stops - 8.0);
    let exposure = Exposure {
        shutter_s: Some(shutter_s),
        f_number: Some(8.0),
        iso: Some(100.0),
        focal_mm: Some(600.0),
        ..Exposure::default()
    };
    // Partial: 0.4 of saturation at the usual exposure. Corona: as bright as the sky has it.
    let light = if covered {
        exposure.stops().unwrap() + 10.0
    } else {
        0.4_f64.log2() + stops
    };
    let level = (light - cloud).exp2();
    let disc = DiscLook {
        level: level.min(1.0),
        saturated: if level >= 1.0 { 1.0 } else { 0.0 },
        lit: 1.0,
        ..DiscLook::default()
    };
    ShotRecord {
        shot: Shot {
            file: CardFile {
                name: format!("{minutes}.JPG"),
                path: "x".into(),
                format: FileFormat::Jpeg,
                size_bytes: 1,
                modified: None,
            },
            camera: Some(CameraId {
                make: "Test".into(),
                model: "Long".into(),
                serial: None,
            }),
            stamp: None,
            gps: None,
            exposure,
            orientation: Orientation::UPRIGHT,
            width_px: Some(400),
            height_px: Some(300),
        },
        role: Some(Role::Tele),
        utc: Some(utc),
        utc_sigma_s: Some(1.0),
        phase,
        near_contact: None,
        burst: None,
        disc: Some(DiscFit {
            limb: if covered { Limb::Moon } else { Limb::Sun },
            sun: Some(circle),
            moon: covered.then_some(circle),
            sigma_px: 0.1,
            moon_sigma_px: None,
            limb_arc_deg: 360.0,
            residual_px: 0.1,
            blur_px: Some(1.0),
        }),
        no_disc: None,
        look: Some(FrameLook {
            disc: Some(disc),
            ..FrameLook::default()
        }),
        north_deg: None,
        mirrored: None,
        // No Moon in front: the disc is whole.
        predicted: Some(SunMoon {
            utc,
            sun_radius_arcsec: 950.0,
            moon_radius_arcsec: 980.0,
            moon_east_arcsec: 3_000.0,
            moon_north_arcsec: 0.0,
            obscuration: 0.0,
            magnitude: 0.0,
            sun_alt_deg: 50.0,
            sun_alt_refracted_deg: 50.0,
            sun_az_deg: 180.0,
            parallactic_deg: 0.0,
            vertical_squeeze: 1.0,
        }),
        quality: Some(0.8),
        flags: Flags::default(),
        sibling: None,
    }
}

fn dark(minutes: f64, stops: f64) -> ShotRecord {
    ShotRecord {
        disc: None,
        look: Some(FrameLook::default()),
        flags: [Flag::Capped].into_iter().collect(),
        ..frame(minutes, Phase::Totality, stops, 0.0)
    }
}

fn flagged(mut shots: Vec<ShotRecord>) -> Vec<String> {
    across_card(&mut shots);
    shots.iter().map(|s| s.flags.to_string()).collect()
}

#[test]
fn cloud_shows_by_the_light_it_takes() {
    let takes = [
        (0.0, 0.0),
        (0.0, 0.0),
        (0.0, 0.1),
        (0.0, 0.6),
        (0.0, 2.0),
        (1.0, 1.2),
        (4.0, 0.0),
    ];
    let frames = |phase| {
        takes
            .iter()
            .enumerate()
            .map(|(n, (stops, cloud))| frame(5.0 * n as f64, phase, *stops, *cloud))
            .collect()
    };
    // The last is saturated: it has no brightness to judge by.
    let expected = ["", "", "", "clouded", "clouded", "clouded", ""];
    assert_eq!(flagged(frames(Phase::Ingress)), expected);
}

#[test]
fn a_corona_short_of_its_exposure_stood_behind_cloud() {
    let bracket = |from: f64, cloud: f64| {
        (0..5).map(move |n| {
            frame(
                from + 0.05 * f64::from(n),
                Phase::Totality,
                f64::from(n),
                cloud,
            )
        })
    };
    let frames: Vec<ShotRecord> = bracket(0.0, 0.0).chain(bracket(1.0, 1.2)).collect();
    let flags = flagged(frames);
    assert!(flags[..5].iter().all(String::is_empty), "{flags:?}");
    assert!(flags[5..].iter().all(|f| f == "clouded"), "{flags:?}");
    // Throughout: the corona is known to be brighter than that.
    let flags = flagged(bracket(0.0, 4.5).collect());
    assert!(flags.iter().all(|f| f == "clouded"), "{flags:?}");
}

#[test]
fn filters_and_covers_are_told_apart() {
    let lit = |minutes, stops| frame(minutes, Phase::Totality, stops, 0.0);
    let early = vec![
        dark(0.0, 1.0),
        dark(0.1, 2.0),
        lit(0.2, 1.0),
        dark(0.3, 2.0),
        lit(0.4, 1.0),
    ];
    assert_eq!(flagged(early), ["filter-on", "filter-on", "", "capped", ""]);
    // Put back for a frame, with the dials of the partial phases; and one too short to show anything.
    let mut habit = vec![
        frame(-20.0, Phase::Ingress, 0.0, 0.0),
        lit(0.0, 2.0),
        dark(0.1, 0.0),
        lit(0.2, 2.0),
    ];
    habit.extend([dark(0.3, -6.0), lit(0.4, 2.0)]);
    assert_eq!(flagged(habit), ["", "", "filter-on", "", "", ""]);
}

#[test]
fn frames_too_short_to_tell_are_told_by_their_neighbours_and_their_likes() {
    // A filter that stays on for a bracket: its short frames lie among those that tell. What comes after the last that tells is open.
    let lit = |minutes, stops| frame(minutes, Phase::Totality, stops, 0.0);
    let late = vec![
        dark(0.0, -6.0),
        dark(0.1, 2.0),
        dark(0.2, -6.0),
        dark(0.3, 2.0),
        dark(0.4, -6.0),
        lit(0.5, 1.0),
    ];
    let expected = ["filter-on", "filter-on", "filter-on", "filter-on", "", ""];
    assert_eq!(flagged(late), expected);
    // Prominences show at an exposure that is short for the corona: a dark frame of that exposure was covered.
    let peaked = |minutes: f64, peak: f64| {
        let mut shot = lit(minutes, -6.0);
        shot.look.as_mut().unwrap().peak = peak;
        shot
    };
    let short = vec![peaked(0.0, 0.05), dark(0.1, -6.0), peaked(0.2, 0.04)];
    assert_eq!(flagged(short), ["", "capped", ""]);
}

#[test]
fn a_thin_crescent_behind_cloud_falls_short_of_its_limb() {
    // A crescent of 97.5 % of the diameter, 3 pixels wide: its limb has some 0.36 of the disc's middle light, and the blur takes its part.
    let crescent = |minutes: f64, level: f64| {
        let mut shot = frame(minutes, Phase::Ingress, 0.0, 0.0);
        let sky = shot.predicted.as_mut().unwrap();
        (sky.moon_east_arcsec, sky.obscuration, sky.magnitude) = (78.0, 0.978, 0.975);
        let look = shot.look.as_mut().unwrap();
        look.disc = Some(DiscLook::default());
        look.disc_level = Some(level);
        shot
    };
    let mut shots: Vec<ShotRecord> = (0..4)
        .map(|n| frame(5.0 * f64::from(n), Phase::Ingress, 0.0, 0.0))
        .collect();
    shots.extend([crescent(30.0, 0.4 * 0.33), crescent(31.0, 0.4 * 0.15)]);
    assert_eq!(flagged(shots), ["", "", "", "", "", "clouded"]);
}

#[test]
fn a_sun_that_shows_less_than_the_moon_leaves_is_cut() {
    let mut shots: Vec<ShotRecord> = (0..4)
        .map(|n| frame(5.0 * f64::from(n), Phase::Ingress, 0.0, 0.0))
        .collect();
    shots[1].look.as_mut().unwrap().disc.as_mut().unwrap().lit = 0.6;
    // The edge of what is in front makes a disc uneven, but not so much as cloud that hides a part of it; that glows besides.
    for (n, uneven, halo) in [(2, 0.05, 0.001), (3, 0.2, 0.15)] {
        let disc = shots[n].look.as_mut().unwrap().disc.as_mut().unwrap();
        (disc.lit, disc.uneven, disc.halo) = (0.7, Some(uneven), halo);
        shots[n].flags.set(Flag::Clouded);
    }
    assert_eq!(flagged(shots), ["", "cut", "cut", "clouded"]);
}

#[test]
fn suns_half_lit_and_uneven_are_left_to_cloud() {
    // Cut by the edge of an eyepiece's field, a tenth and more of what the Moon leaves is missing; as much behind cloud leaves the rest uneven.
    let mut shots: Vec<ShotRecord> = (0..4)
        .map(|n| frame(5.0 * f64::from(n), Phase::Ingress, 0.0, 0.0))
        .collect();
    for (n, lit, uneven) in [(1, 0.86, 0.03), (2, 0.86, 0.09), (3, 0.95, 0.03)] {
        let disc = shots[n].look.as_mut().unwrap().disc.as_mut().unwrap();
        (disc.lit, disc.uneven) = (lit, Some(uneven));
        shots[n].flags.set(Flag::Clouded);
    }
    assert_eq!(flagged(shots), ["", "cut", "clouded", "clouded"]);
}

/// A frame of the usual exposure in which no disc was found, of a brightest place, with a part of the whole Sun's light, over a sky.
fn shape(minutes: f64, peak: f64, part: f64, sky: f64) -> ShotRecord {
    let mut shot = frame(minutes, Phase::Ingress, 0.0, 0.0);
    shot.disc = None;
    // Limb darkening I = mu^0.55 leaves a disc 1 / (1 + 0.55 / 2) of its brightest light on the whole.
    let sun = std::f64::consts::PI * 60.0 * 60.0 * peak / 1.275;
    shot.look = Some(FrameLook {
        peak,
        sky,
        mean: sky + part * sun / (400.0 * 300.0),
        ..FrameLook::default()
    });
    shot
}

#[test]
fn full_sunlight_but_little_of_it_is_a_cut_sun() {
    let clear = |n: i32| {
        let mut shot = frame(5.0 * f64::from(n), Phase::Ingress, 0.0, 0.0);
        shot.look.as_mut().unwrap().peak = 0.45;
        shot
    };
    let mut shots: Vec<ShotRecord> = (0..4).map(clear).collect();
    shots.extend([
        shape(30.0, 0.45, 0.5, 0.001),
        // Whole; half of it with the sky of thick cloud; half of it and dim.
        shape(31.0, 0.45, 1.0, 0.001),
        shape(32.0, 0.45, 0.5, 0.03),
        shape(33.0, 0.15, 0.5, 0.001),
    ]);
    let flags = flagged(shots);
    assert_eq!(flags[4..7], ["cut", "", ""], "{flags:?}");
    assert!(!flags[7].contains("cut"), "{flags:?}");
    // Of a card without clear Suns nothing is known.
    let alone = vec![shape(30.0, 0.45, 0.5, 0.001)];
    assert_eq!(flagged(alone), [""]);
}

/// The n-th frame of totality of an exposure, so many stops short of a clear corona, with a sky of this part of its light.
fn veiled(n: i32, exposure: f64, short: f64, veil: f64) -> ShotRecord {
    let mut shot = frame(0.05 * f64::from(n), Phase::Totality, exposure, short);
    let disc = shot.look.as_mut().unwrap().disc.as_mut().unwrap();
    disc.halo = veil * disc.level;
    shot
}

#[test]
fn cloud_throughout_totality_shows_by_the_light_it_scatters() {
    // Two and a half stops short of a clear sky's corona: a filmy lens, a slow shutter, or cloud. The sky beside it says which.
    let bracket = |veil: f64| -> Vec<ShotRecord> {
        let stops = |n: i32| f64::from(n) - 3.0;
        (0..6).map(|n| veiled(n, stops(n), 2.5, veil)).collect()
    };
    assert!(flagged(bracket(0.4)).iter().all(|f| f == "clouded"));
    assert!(flagged(bracket(0.03)).iter().all(String::is_empty));
    // One frame through a thinner place is as its neighbours; a clear corona in a bright sky is clear.
    let mut uneven = bracket(0.4);
    let disc = uneven[4].look.as_mut().unwrap().disc.as_mut().unwrap();
    disc.halo = 0.15 * disc.level;
    assert!(flagged(uneven).iter().all(|f| f == "clouded"));
    let stops = |n: i32| f64::from(n) - 4.0;
    let bright = (0..4).map(|n| veiled(n, stops(n), 0.0, 0.4)).collect();
    assert!(flagged(bright).iter().all(String::is_empty));
}

#[test]
fn a_wide_view_has_no_limb_to_judge_by() {
    let mut wide = frame(0.0, Phase::Totality, 0.0, 0.0);
    wide.role = Some(Role::Wide);
    wide.flags = [Flag::Clouded, Flag::Soft, Flag::IncompleteBurst]
        .into_iter()
        .collect();
    assert_eq!(flagged(vec![wide]), ["incomplete-burst"]);
}
