//! Rehearsals on drawn practice shots of the plain filtered Sun, with known faults.

use std::fs;
use std::path::Path;
use std::process::Output;

use contactstrip::raster::Samples;
use exif::{Tag, Value};
use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;

use super::{run, stdout, text};
use crate::support::sun::Scene;
use crate::support::{header, photos};

/// Radius of the drawn Sun in pixels: of 964 seconds of arc on the day drawn, 20 March 2026, when the Sun moves 15 a second.
const RADIUS_PX: f64 = 110.0;

/// Pixels a second of a Sun in a frame that stands still.
const STILL_PX_S: f64 = 15.0 * RADIUS_PX / 964.0;

/// A practice session.
pub(super) struct Session {
    pub(super) frames: u32,
    pub(super) step_s: f64,
    /// Drift of the Sun, x right and y down.
    pub(super) drift_px_s: (f64, f64),
    /// Frames between two aims, each a little different.
    pub(super) aimed_every: u32,
    /// Gaussian sigma of the blur, first and last.
    pub(super) blur_px: (f64, f64),
    pub(super) level: f64,
    pub(super) colour: [f64; 3],
    /// Camera minus true.
    pub(super) clock_error_s: f64,
    pub(super) gps: bool,
    pub(super) subsec: bool,
    /// Frames at the end with the motor off, when the Sun runs west.
    pub(super) motor_off: u32,
    /// Which way west lies in the picture, degrees clockwise from right.
    pub(super) west_deg: f64,
    /// Hour of the first frame, UTC; the place is 30 degrees north and east.
    pub(super) hour: i8,
}

pub(super) const SOUND: Session = Session {
    frames: 12,
    step_s: 30.0,
    drift_px_s: (0.008, -0.006),
    aimed_every: 100,
    blur_px: (1.0, 1.05),
    level: 0.55,
    colour: [1.0, 0.95, 0.85],
    clock_error_s: 0.2,
    gps: true,
    subsec: true,
    motor_off: 0,
    west_deg: 0.0,
    hour: 10,
};

impl Session {
    /// Draws it and rehearses.
    fn rehearsed(&self) -> Output {
        let folder = self.drawn();
        run(&["rehearse", text(folder.path())])
    }

    /// Draws it into a folder of its own.
    pub(super) fn drawn(&self) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for n in 0..self.frames {
            self.write(n, &folder.path().join(format!("PRA_{n:04}.JPG")));
        }
        folder
    }

    fn scene(&self, n: u32) -> Scene {
        let part = f64::from(n) / f64::from(self.frames - 1);
        let since_aim_s = f64::from(n % self.aimed_every) * self.step_s;
        let aim = f64::from(n / self.aimed_every);
        let off_s = self.step_s * f64::from((n + self.motor_off).saturating_sub(self.frames - 1));
        let (west_y, west_x) = self.west_deg.to_radians().sin_cos();
        let place = |middle: f64, wide: f64, turn: f64, rate: f64, west: f64| {
            let followed_s = since_aim_s - off_s;
            middle + wide * (turn * aim).sin() + rate * followed_s + west * STILL_PX_S * off_s
        };
        Scene {
            width: 700,
            height: 500,
            sun: (
                place(349.3, 90.0, 2.3, self.drift_px_s.0, west_x),
                place(251.6, 60.0, 1.7, self.drift_px_s.1, west_y),
                RADIUS_PX,
            ),
            level: self.level,
            colour: self.colour,
            blur: self.blur_px.0 + part * (self.blur_px.1 - self.blur_px.0),
            jpeg: None,
            spots: 3,
            seed: u64::from(n),
            ..Scene::default()
        }
    }

    fn write(&self, n: u32, path: &Path) {
        let frame = self.scene(n).frame();
        let Samples::U8(values) = frame.samples() else {
            panic!("drawn frames have 8 bits");
        };
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, 95)
            .encode(values, 700, 500, ExtendedColorType::Rgb8)
            .unwrap();
        fs::write(
            path,
            header::with_exif(&jpeg, &header::block(&self.tags(n), true)),
        )
        .unwrap();
    }

    /// The camera is set two hours east of Greenwich; fixes are whole seconds.
    fn tags(&self, n: u32) -> Vec<exif::Field> {
        let start = jiff::civil::date(2026, 3, 20).at(self.hour, 0, 0, 0);
        let since_s = |s: f64| {
            start
                .checked_add(jiff::SignedDuration::from_secs_f64(s))
                .unwrap()
        };
        let true_s = f64::from(n) * self.step_s;
        let read = since_s(true_s + self.clock_error_s + 7200.0);
        let mut tags = vec![
            header::text(Tag::Make, "Test"),
            header::text(Tag::Model, "Long"),
            header::text(
                Tag::DateTimeOriginal,
                &read.strftime("%Y:%m:%d %H:%M:%S").to_string(),
            ),
            header::ratios(Tag::ExposureTime, &[(1, 800)]),
            header::ratios(Tag::FNumber, &[(8, 1)]),
            header::short(Tag::PhotographicSensitivity, 100),
            header::ratios(Tag::FocalLength, &[(600, 1)]),
        ];
        if self.subsec {
            let hundredths = read.subsec_nanosecond() / 10_000_000;
            tags.push(header::field(
                Tag::SubSecTimeOriginal,
                Value::Ascii(vec![format!("{hundredths:02}").into_bytes()]),
            ));
        }
        if self.gps {
            let fix = since_s(true_s);
            let parts = [fix.hour(), fix.minute(), fix.second()].map(|v| (v as u32, 1));
            tags.extend([
                header::text(Tag::GPSLatitudeRef, "N"),
                header::ratios(Tag::GPSLatitude, &[(30, 1), (0, 1), (0, 1)]),
                header::text(Tag::GPSLongitudeRef, "E"),
                header::ratios(Tag::GPSLongitude, &[(30, 1), (0, 1), (0, 1)]),
                header::ratios(Tag::GPSTimeStamp, &parts),
                header::text(Tag::GPSDateStamp, "2026:03:20"),
            ]);
        }
        tags
    }
}

/// The line of a point and the advice below it, if there is one.
fn point(output: &Output, name: &str) -> (String, String) {
    let all = stdout(output);
    let lines: Vec<&str> = all.lines().collect();
    let at = lines
        .iter()
        .position(|line| line.trim_start().starts_with(name))
        .unwrap_or_else(|| panic!("no {name}: {all}"));
    let advice = lines[at + 1..]
        .iter()
        .take_while(|line| line.starts_with("      "))
        .map(|line| line.trim())
        .collect::<Vec<_>>()
        .join(" ");
    (lines[at].trim().to_owned(), advice)
}

/// The number before some words.
fn before(text: &str, words: &str) -> f64 {
    let at = text
        .find(words)
        .unwrap_or_else(|| panic!("no {words}: {text}"));
    let number = text[..at].trim_end().rsplit(' ').next().unwrap();
    number
        .parse()
        .unwrap_or_else(|_| panic!("{number}: {text}"))
}

#[test]
fn a_sound_session_has_nothing_to_mend() {
    let output = SOUND.rehearsed();
    let said = stdout(&output);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("Nothing to fix"), "{said}");
    assert!(said.contains("Never look at the Sun"), "{said}");
    assert!((before(&point(&output, "disc").0, "px across") - 220.0).abs() <= 1.0);
    assert!((before(&point(&output, "focus").0, "px (sigma)") - 1.0).abs() < 0.25);
    assert!(point(&output, "drift").0.contains("the mount follows"));
}

#[test]
fn a_session_with_every_fault_is_told_each_of_them() {
    let output = Session {
        blur_px: (1.2, 3.6),
        level: 1.7,
        drift_px_s: (0.10, -0.06),
        clock_error_s: 41.0,
        subsec: false,
        ..SOUND
    }
    .rehearsed();
    let said = stdout(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    for name in ["focus", "exposure", "drift", "clock"] {
        assert!(point(&output, name).0.contains("fix"), "{name}: {said}");
    }
    assert!(
        point(&output, "focus").0.contains("the blur grows"),
        "{said}"
    );
    let (exposure, advice) = point(&output, "exposure");
    assert!(exposure.contains("12 frames clipped"), "{said}");
    assert!(advice.contains("close by two stops"), "{said}");
    // 0.117 px a second of 8.76 seconds of arc each: 1.02 seconds of arc a second, an axis off by 3.9 degrees.
    let drift = point(&output, "drift");
    assert!((before(&drift.0, "seconds of arc a second") - 1.02).abs() < 0.06);
    assert!((before(&drift.0, "degrees or more") - 3.9).abs() < 0.3);
    assert!(drift.1.contains("polar axis"), "{said}");
    // Whole seconds, cut off: half a second is added.
    let clock = point(&output, "clock");
    assert!(
        (before(&clock.0, "s fast by GPS") - 41.5).abs() < 0.6,
        "{said}"
    );
}

/// Ordinary filtered Suns, of which one is out of focus and one burnt out: the card is sound, and both are named.
#[test]
fn one_soft_and_one_clipped_frame_are_named() {
    let folder = SOUND.drawn();
    let at = |name: &str| folder.path().join(name);
    let soft = Session {
        blur_px: (4.0, 4.0),
        ..SOUND
    };
    soft.write(4, &at("PRA_0004.JPG"));
    let clipped = Session {
        level: 1.9,
        ..SOUND
    };
    clipped.write(8, &at("PRA_0008.JPG"));
    let output = run(&["rehearse", text(folder.path())]);
    let said = stdout(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    let (focus, _) = point(&output, "focus");
    assert!(
        focus.contains("fix") && focus.contains("1 frame soft: PRA_0004.JPG"),
        "{said}"
    );
    let (exposure, advice) = point(&output, "exposure");
    assert!(
        exposure.contains("fix") && exposure.contains("1 frame clipped: PRA_0008.JPG"),
        "{said}"
    );
    assert!(advice.contains("keep to the exposure of the others"));
    for sound in ["drift", "disc", "clock"] {
        assert!(point(&output, sound).0.contains("good"), "{said}");
    }
}

/// An axis too far west, or too low, drawn as the drift method has it; frames with the motor off tell where west is.
#[test]
fn an_axis_is_told_which_way_to_go() {
    let west_deg = 160.0_f64;
    let (sin, cos) = west_deg.to_radians().sin_cos();
    // North is a quarter turn anticlockwise from west: (sin, -cos). An axis 6 degrees off drifts 1.57 seconds of arc
    // a second, 0.179 px.
    let drift_px_s = 15.0 * 6_f64.to_radians() * RADIUS_PX / 964.0;
    let session = |north: f64, hour: i8| Session {
        drift_px_s: (north * drift_px_s * sin, -north * drift_px_s * cos),
        step_s: 20.0,
        motor_off: 3,
        west_deg,
        hour,
        ..SOUND
    };
    // Ten o'clock UTC is noon: the Sun drifts north when the axis is too far west.
    let noon = session(1.0, 10).rehearsed();
    let (found, advice) = point(&noon, "drift");
    assert!(found.contains("to the north"), "{found}");
    assert!(
        (before(&found, "to the north") - 1.57).abs() < 0.1,
        "{found}"
    );
    assert!(advice.contains("degrees east ("), "{advice}");
    assert!(
        (before(&advice, "degrees east (") - 6.0).abs() < 0.4,
        "{advice}"
    );
    // In the evening a drift to the north means an axis that is too low.
    let evening = session(1.0, 15).rehearsed();
    let (_, advice) = point(&evening, "drift");
    assert!(advice.contains("raise it"), "{advice}");
    assert!(
        (before(&advice, "degrees; the azimuth") - 6.3).abs() < 0.4,
        "{advice}"
    );
    // Without the motor's pause nothing is said of the direction but how to find it.
    let blind = Session {
        motor_off: 0,
        ..session(1.0, 10)
    }
    .rehearsed();
    assert!(point(&blind, "drift").1.contains("with the motor off"));
}

#[test]
fn a_disc_clipped_in_red_alone_is_told() {
    let orange = [1.0, 0.42, 0.06];
    let output = Session {
        level: 1.35,
        colour: orange,
        ..SOUND
    }
    .rehearsed();
    let (exposure, advice) = point(&output, "exposure");
    assert!(
        exposure.contains("fix") && exposure.contains("12 frames clipped"),
        "{exposure}"
    );
    // 1.35 in the middle is 0.87 on the whole disc: 0.45 wants half of it.
    assert!(advice.contains("try 1/1600 s"), "{advice}");
    // As bright as it should be in red; grey alone would say that it is dark.
    let output = Session {
        level: 0.55,
        colour: orange,
        ..SOUND
    }
    .rehearsed();
    let (exposure, _) = point(&output, "exposure");
    assert!(exposure.contains("good"), "{exposure}");
}

#[test]
fn a_tripod_that_stands_still_is_told_when_to_aim_again() {
    let output = Session {
        step_s: 12.0,
        drift_px_s: (0.8 * STILL_PX_S, 0.6 * STILL_PX_S),
        aimed_every: 4,
        level: 0.14,
        clock_error_s: -6.5,
        subsec: false,
        ..SOUND
    }
    .rehearsed();
    let said = stdout(&output);
    let drift = point(&output, "drift");
    assert!(drift.0.contains("the mount stands still"), "{said}");
    assert!(
        (before(&drift.0, "seconds of arc a second") - 15.0).abs() < 0.5,
        "{said}"
    );
    // 140 px of room at 1.71 px a second last 82 s.
    assert!(
        (before(&drift.1, "s; keep") - 41.0).abs() < 1.0 && drift.1.contains("aim again"),
        "{said}"
    );
    // Drawn at 0.14 in the middle at 1/800 s, 0.09 on the whole disc: 0.45 wants five times as much.
    let (exposure, advice) = point(&output, "exposure");
    assert!(
        exposure.contains("fix") && advice.contains("try 1/160 s"),
        "{said}"
    );
    assert!(
        point(&output, "clock").0.contains("set to UTC+02:00"),
        "{said}"
    );
    assert!(
        (before(&point(&output, "clock").0, "s slow by GPS") - 6.5).abs() < 1.1,
        "{said}"
    );
}

#[test]
fn a_sun_aimed_at_anew_in_every_frame_says_nothing_of_the_drift() {
    let output = Session {
        step_s: 300.0,
        aimed_every: 1,
        gps: false,
        ..SOUND
    }
    .rehearsed();
    assert!(
        point(&output, "drift").0.contains("not known"),
        "{}",
        stdout(&output)
    );
    let (clock, advice) = point(&output, "clock");
    assert!(
        clock.contains("not known") && advice.contains("--clock"),
        "{clock}"
    );
}

#[test]
fn copies_of_a_real_photograph_are_rehearsed() {
    let Some(photos) = photos::folder() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let bytes = fs::read(photos.join("full-disc.jpg")).unwrap();
    for n in 0..3 {
        // A byte behind the end of the picture, so that each is a shot of its own: the same content is one shot.
        let copy = [&bytes[..], &[n]].concat();
        fs::write(folder.path().join(format!("REAL_{n}.JPG")), copy).unwrap();
    }
    let output = run(&["rehearse", text(folder.path())]);
    let said = stdout(&output);
    assert!(
        point(&output, "frames").0.contains("all 3 show the disc"),
        "{said}"
    );
    assert!(
        before(&point(&output, "disc").0, "px across") > 100.0,
        "{said}"
    );
}
