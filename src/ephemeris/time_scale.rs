//! UTC and TT.

use crate::domain::{Tt, Utc};

/// TT - TAI in seconds, by convention TT = TAI + 32.184 s (IAU 1991, Resolution A4, Recommendation IV).
pub const TT_MINUS_TAI_S: f64 = 32.184;

/// Unix time of J2000 written as a UTC reading: 2000-01-01T12:00:00.
const J2000_UNIX_S: f64 = 946_728_000.0;

/// TAI - UTC in whole seconds from the instant (Unix seconds) on. Source: IERS, Leap_Second.dat and Bulletin C; one entry
/// a leap second since the whole-second system began.
const TAI_MINUS_UTC_S: [(i64, f64); 28] = [
    (63_072_000, 10.0),    // 1972-01-01
    (78_796_800, 11.0),    // 1972-07-01
    (94_694_400, 12.0),    // 1973-01-01
    (126_230_400, 13.0),   // 1974-01-01
    (157_766_400, 14.0),   // 1975-01-01
    (189_302_400, 15.0),   // 1976-01-01
    (220_924_800, 16.0),   // 1977-01-01
    (252_460_800, 17.0),   // 1978-01-01
    (283_996_800, 18.0),   // 1979-01-01
    (315_532_800, 19.0),   // 1980-01-01
    (362_793_600, 20.0),   // 1981-07-01
    (394_329_600, 21.0),   // 1982-07-01
    (425_865_600, 22.0),   // 1983-07-01
    (489_024_000, 23.0),   // 1985-07-01
    (567_993_600, 24.0),   // 1988-01-01
    (631_152_000, 25.0),   // 1990-01-01
    (662_688_000, 26.0),   // 1991-01-01
    (709_948_800, 27.0),   // 1992-07-01
    (741_484_800, 28.0),   // 1993-07-01
    (773_020_800, 29.0),   // 1994-07-01
    (820_454_400, 30.0),   // 1996-01-01
    (867_715_200, 31.0),   // 1997-07-01
    (915_148_800, 32.0),   // 1999-01-01
    (1_136_073_600, 33.0), // 2006-01-01
    (1_230_768_000, 34.0), // 2009-01-01
    (1_341_100_800, 35.0), // 2012-07-01
    (1_435_708_800, 36.0), // 2015-07-01
    (1_483_228_800, 37.0), // 2017-01-01
];

/// TT minus UTC in seconds.
///
/// Before 1972 the first value of the table is returned, which is up to some seconds wrong; after the last entry the
/// last value holds, as no later leap second is announced (IERS Bulletin C).
pub fn tt_minus_utc_s(utc: Utc) -> f64 {
    let unix_s = utc.timestamp().as_second();
    let row = TAI_MINUS_UTC_S
        .iter()
        .rev()
        .find(|(from, _)| *from <= unix_s);
    TT_MINUS_TAI_S + row.unwrap_or(&TAI_MINUS_UTC_S[0]).1
}

/// The instant on TT.
pub fn tt_from_utc(utc: Utc) -> Tt {
    Tt::from_j2000_s(utc.unix_s() - J2000_UNIX_S + tt_minus_utc_s(utc))
}

/// The instant on UTC. Within a leap second itself the second before it is named again, as Unix time does.
pub fn utc_from_tt(tt: Tt) -> Utc {
    let near = Utc::from_unix_s(tt.j2000_s + J2000_UNIX_S - TT_MINUS_TAI_S);
    let guess = near.plus_s(TT_MINUS_TAI_S - tt_minus_utc_s(near));
    near.plus_s(TT_MINUS_TAI_S - tt_minus_utc_s(guess))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_names_the_days_in_its_comments() {
        for (text, expected) in [
            ("1995-12-31T23:59:59Z", 61.184),
            ("1996-01-01T00:00:00Z", 62.184),
            ("2005-12-31T23:59:59Z", 64.184),
            ("2016-12-31T23:59:59Z", 68.184),
            ("2017-01-01T00:00:00Z", 69.184),
            ("2053-01-01T00:00:00Z", 69.184),
        ] {
            let utc = Utc::new(text.parse().unwrap());
            assert!((tt_minus_utc_s(utc) - expected).abs() < 1e-9, "{text}");
        }
    }

    #[test]
    fn tt_and_back_is_the_same_instant() {
        for text in [
            "1999-08-11T11:00:00Z",
            "2016-12-31T23:59:59Z",
            "2017-01-01T00:00:01Z",
        ] {
            let utc = Utc::new(text.parse().unwrap());
            assert!(
                utc_from_tt(tt_from_utc(utc)).seconds_since(utc).abs() < 1e-6,
                "{text}"
            );
        }
    }
}
