//! What other programs of astronomy make of `corona.fits`.

use std::fs;
use std::path::{Path, PathBuf};

use contactstrip::domain::{Circle, Utc};
use contactstrip::ephemeris::solar_axis;
use contactstrip::pipeline::{CoronaFrame, corona_header};
use contactstrip::raster::{LinearRgb, write_fits};

fn stored() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/fits")
}

/// A table behind a line of origin.
fn rows(name: &str) -> Vec<csv::StringRecord> {
    let text = fs::read_to_string(stored().join(name)).unwrap();
    let mut table = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    table.records().map(Result::unwrap).collect()
}

const SIZE: (usize, usize) = (40, 30);

/// Celestial north 25 degrees anticlockwise from up; the Sun off the middle.
fn frame() -> CoronaFrame {
    let begin: Utc = Utc::new("2019-07-02T20:38:20.250Z".parse().unwrap());
    CoronaFrame {
        sun: Circle {
            x_px: 17.3,
            y_px: 11.6,
            radius_px: 6.5,
        },
        sun_radius_arcsec: 943.8,
        north_deg: 25.0,
        mirrored: false,
        exposures: vec![
            (begin, 0.001),
            (begin.plus_s(1.0), 0.5),
            (begin.plus_s(2.0), 0.001),
        ],
    }
}

/// A ramp in each colour, one pixel without light.
fn picture() -> LinearRgb {
    let mut picture = LinearRgb::new(SIZE.0, SIZE.1);
    for y in 0..SIZE.1 {
        for x in 0..SIZE.0 {
            let v = (1 + x + 100 * y) as f32 / 4096.0;
            picture.set(x, y, [v, 2.0 * v, 4.0 * v]);
        }
    }
    picture.set(0, 0, [0.0; 3]);
    picture
}

fn written() -> Vec<u8> {
    let words = "Linear light: 1 saturates the shortest exposure used";
    let cards = corona_header(&frame(), SIZE.1, words).unwrap();
    let mut bytes = Vec::new();
    write_fits(&picture(), &cards, &mut bytes).unwrap();
    bytes
}

/// The file that astropy read is the one that is written today.
#[test]
fn the_stored_file_is_what_is_written() {
    let path = stored().join("corona.fits");
    if std::env::var_os("REGENERATE").is_some() {
        fs::create_dir_all(stored()).unwrap();
        fs::write(&path, written()).unwrap();
    }
    assert!(fs::read(path).unwrap_or_default() == written());
}

/// astropy puts the Sun's centre where it was drawn, to 0.3 px and far better; solar west and north where celestial north and the Sun's
/// axis (sunpy's, not ours) have them; and reads the same light at the same pixel.
#[test]
fn astropy_finds_the_sun_where_it_is() {
    let frame = frame();
    let p_deg: f64 = rows("axis.csv")
        .iter()
        .find(|row| row[0].starts_with("2019-07-02"))
        .unwrap()[1]
        .parse()
        .unwrap();
    let turn = (frame.north_deg + p_deg).to_radians();
    let (mut compared, picture) = (0, picture());
    for row in rows("values.csv") {
        let number = |n: usize| row[n].parse::<f64>().unwrap();
        let (west, north) = (number(1), number(2));
        let scale = frame.sun.radius_px / frame.sun_radius_arcsec;
        // Picture axes: right and down. Solar north lies anticlockwise of up by the turn, west clockwise of north by a right angle.
        let right = (west * turn.cos() - north * turn.sin()) * scale;
        let down = -(west * turn.sin() + north * turn.cos()) * scale;
        let (x, y) = (number(3), SIZE.1 as f64 - 1.0 - number(4));
        let away = (x - frame.sun.x_px - right).hypot(y - frame.sun.y_px - down);
        assert!(away < 0.01, "{row:?}: {away} px");
        let channel = ["RED", "GREEN", "BLUE"].iter().position(|c| *c == &row[0]);
        let value = picture.at(x.round() as usize, y.round() as usize)[channel.unwrap()];
        assert!((f64::from(value) - number(5)).abs() < 1e-5, "{row:?}");
        let begin = frame.exposures[0].0.unix_s();
        assert!((begin - number(6)).abs() < 0.002, "{row:?}");
        compared += 1;
    }
    assert_eq!(compared, 12);
}

/// The Sun's axis against sunpy's, to a hundredth of a degree and a half.
#[test]
fn the_suns_axis_stands_as_sunpy_has_it() {
    let all = rows("axis.csv");
    assert_eq!(all.len(), 6);
    for row in all {
        let axis = solar_axis(Utc::new(row[0].parse().unwrap()));
        let off = |ours: f64, theirs: &str| (ours - theirs.parse::<f64>().unwrap()).abs();
        assert!(
            off(axis.position_angle_deg, &row[1]) < 0.015,
            "{row:?} {axis:?}"
        );
        assert!(off(axis.tilt_deg, &row[2]) < 0.015, "{row:?} {axis:?}");
    }
}

/// In a mirror image west lies the other way; without a time there is no header.
#[test]
fn mirror_images_and_frames_without_a_time() {
    let value = |frame: &CoronaFrame, key: &str| {
        let cards = corona_header(frame, SIZE.1, "").unwrap();
        let card = cards.into_iter().find(|c| c.keyword == key).unwrap();
        match card.value {
            contactstrip::raster::FitsValue::Real(v) => v,
            other => panic!("{other:?}"),
        }
    };
    let plain = CoronaFrame {
        north_deg: 0.0,
        ..frame()
    };
    let mirror = CoronaFrame {
        mirrored: true,
        ..plain.clone()
    };
    for (key, sign) in [
        ("PC1_1", -1.0),
        ("PC1_2", 1.0),
        ("PC2_1", -1.0),
        ("PC2_2", 1.0),
    ] {
        let (a, b) = (value(&plain, key), value(&mirror, key));
        assert!((b - sign * a).abs() < 1e-12, "{key} {a} {b}");
    }
    let none = CoronaFrame {
        exposures: Vec::new(),
        ..frame()
    };
    assert!(corona_header(&none, SIZE.1, "").is_none());
}
