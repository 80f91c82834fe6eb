//! From the values printed on a camera to the ones it works with.
//!
//! Dials show rounded numbers: 1/125 s stands for 1/128 s, f/11 for f/11.31, ISO 125 for 126. The true series are
//! powers of two in steps of a third or a half stop (shutter) and a sixth of a power of two (aperture, thirds of a
//! stop). Common practice among camera makers; ISO 2720 and ISO 2721 give the marked series.

use super::shot::Exposure;

/// Marked shutter values in seconds of the third-stop series, longer than 1/3 s as decimals.
const THIRDS_S: &[f64] = &[
    30.0, 25.0, 20.0, 15.0, 13.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.2, 2.5, 2.0, 1.6, 1.3, 1.0, 0.8, 0.6,
    0.5, 0.4, 0.3,
];

/// Denominators of the marked third-stop fractions of a second.
const THIRDS_PER_S: &[f64] = &[
    3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0,
    125.0, 160.0, 200.0, 250.0, 320.0, 400.0, 500.0, 640.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0,
    2500.0, 3200.0, 4000.0, 5000.0, 6400.0, 8000.0, 10_000.0, 12_800.0, 16_000.0, 20_000.0,
    25_600.0, 32_000.0,
];

/// Marked values in seconds that only the half-stop series has.
const HALVES_S: &[f64] = &[3.0, 1.5, 0.7];

/// Denominators of the marked fractions that only the half-stop series has.
const HALVES_PER_S: &[f64] = &[45.0, 90.0, 180.0, 350.0, 750.0, 1500.0, 3000.0, 6000.0];

/// How far a header's value may be from a mark and still mean it, as a fraction.
const MARK_TOLERANCE: f64 = 0.006;

/// The shutter time a marked value stands for, in seconds; a value that is no mark is taken at its word.
pub fn true_shutter_s(marked_s: f64) -> f64 {
    let is = |mark: f64| (marked_s / mark - 1.0).abs() < MARK_TOLERANCE;
    let among = |seconds: &[f64], per_s: &[f64]| {
        seconds.iter().any(|&s| is(s)) || per_s.iter().any(|&n| is(1.0 / n))
    };
    if among(HALVES_S, HALVES_PER_S) {
        to_grid(marked_s, 2.0)
    } else if among(THIRDS_S, THIRDS_PER_S) {
        to_grid(marked_s, 3.0)
    } else {
        marked_s
    }
}

/// Nearest power of two in steps of `1/per_stop` stop.
fn to_grid(value: f64, per_stop: f64) -> f64 {
    ((value.log2() * per_stop).round() / per_stop).exp2()
}

/// Nearest step of a third of a stop when it is within a tenth of a stop, else the value itself.
fn to_third(stops: f64) -> f64 {
    let third = (stops * 3.0).round() / 3.0;
    if (third - stops).abs() < 0.1 {
        third
    } else {
        stops
    }
}

/// Light gathered relative to 1 s at f/1 and ISO 100, in stops, with the true values behind the marks. Aperture and
/// ISO count as f/1 and ISO 100 where absent. `None` without a usable shutter time.
pub fn true_stops(exposure: &Exposure) -> Option<f64> {
    let usable = |v: &f64| v.is_finite() && *v > 0.0;
    let time = true_shutter_s(exposure.shutter_s.filter(usable)?).log2();
    let aperture = exposure
        .f_number
        .filter(usable)
        .map_or(0.0, |n| to_third(2.0 * n.log2()));
    let speed = exposure
        .iso
        .filter(usable)
        .map_or(0.0, |i| to_third((i / 100.0).log2()));
    Some(time - aperture + speed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_become_powers_of_two() {
        for (marked, per_s) in [(125.0, 128.0), (60.0, 64.0), (8000.0, 8192.0), (30.0, 32.0)] {
            let got = true_shutter_s(1.0 / marked);
            assert!((got * per_s - 1.0_f64).abs() < 1e-9, "1/{marked}: {got}");
        }
        assert!((true_shutter_s(1.0 / 350.0) * 2_f64.powf(8.5) - 1.0).abs() < 1e-9);
        assert!((true_shutter_s(15.0) - 16.0).abs() < 1e-9);
        assert!((true_shutter_s(0.6) - 2_f64.powf(-2.0 / 3.0)).abs() < 1e-9);
    }

    #[test]
    fn other_values_are_taken_at_their_word() {
        assert!((true_shutter_s(1.0 / 121.0) * 121.0 - 1.0).abs() < 1e-12);
    }

    #[test]
    fn marked_series_are_even() {
        let steps = |per_s: &[f64]| {
            per_s
                .iter()
                .map(|n| true_shutter_s(1.0 / n).log2())
                .collect::<Vec<_>>()
        };
        for pair in steps(THIRDS_PER_S).windows(2) {
            assert!((pair[0] - pair[1] - 1.0 / 3.0).abs() < 1e-9, "{pair:?}");
        }
    }

    #[test]
    fn aperture_and_speed_count() {
        let at = |f_number, iso| Exposure {
            shutter_s: Some(1.0),
            f_number: Some(f_number),
            iso: Some(iso),
            ..Exposure::default()
        };
        let step = true_stops(&at(8.0, 100.0)).unwrap() - true_stops(&at(11.0, 100.0)).unwrap();
        assert!((step - 1.0).abs() < 1e-9, "{step}");
        let step = true_stops(&at(8.0, 800.0)).unwrap() - true_stops(&at(8.0, 100.0)).unwrap();
        assert!((step - 3.0).abs() < 1e-9, "{step}");
    }
}
