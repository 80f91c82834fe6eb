//! Against tables in print: F. Espenak and J. Meeus' elements, and NASA's local circumstances for 1999.
//!
//! The elements are worked the classical way, on the fundamental plane with cone radii (Explanatory Supplement to the
//! Astronomical Almanac 1961, ch. 9), which shares nothing with the program's vectors.

use contactstrip::contacts::{self, ContactsOptions};
use contactstrip::domain::{Contacts, Site, Utc};
use contactstrip::ephemeris::{Radii, eclipse_near};

use super::{Row, beyond, rows, turned};

/// The radii of the published elements: k1 for the penumbra, k2 for the umbra.
const RADII: Radii = Radii {
    moon_k: 0.272_488,
    moon_k_inner: 0.272_281,
    sun_arcsec: 959.63,
};

/// A row of Besselian elements for one place.
struct Classical<'a> {
    row: &'a Row,
    rho_cos: f64,
    rho_sin: f64,
    lon_deg: f64,
    delta_t_s: f64,
}

impl<'a> Classical<'a> {
    fn new(row: &'a Row, site: Site, delta_t_s: f64) -> Self {
        // Meeus 1998, Astronomical Algorithms, ch. 11, with the flattening of WGS 84.
        let u = (0.996_647_189 * site.lat_deg.to_radians().tan()).atan();
        let h = site.elev_m / 6_378_137.0;
        let (sin, cos) = site.lat_deg.to_radians().sin_cos();
        Self {
            row,
            rho_cos: u.cos() + h * cos,
            rho_sin: 0.996_647_189 * u.sin() + h * sin,
            lon_deg: site.lon_deg,
            delta_t_s,
        }
    }

    fn cubic(&self, name: &str, t: f64) -> f64 {
        (0..4).rev().fold(0.0, |sum, n| {
            sum * t + self.row.needed(&format!("{name}{n}"))
        })
    }

    /// Distance from the axis, and the radii of penumbra and umbra at the place, `t` hours from t0.
    fn plane(&self, t: f64) -> (f64, f64, f64) {
        let d = self.cubic("d", t).to_radians();
        let h = (self.cubic("mu", t) + self.lon_deg - 0.004_178_07 * self.delta_t_s).to_radians();
        let xi = self.rho_cos * h.sin();
        let eta = self.rho_sin * d.cos() - self.rho_cos * h.cos() * d.sin();
        let zeta = self.rho_sin * d.sin() + self.rho_cos * h.cos() * d.cos();
        let m = (self.cubic("x", t) - xi).hypot(self.cubic("y", t) - eta);
        let l1 = self.cubic("l1", t) - zeta * self.row.needed("tan_f1");
        let l2 = self.cubic("l2", t) - zeta * self.row.needed("tan_f2");
        (m, l1, l2.abs())
    }

    /// C1, C2, C3 and C4 near a guess of maximum, hours from t0, by halving.
    fn contacts(&self, maximum: f64, central: bool) -> Vec<f64> {
        let outer = |t: f64| self.plane(t).0 - self.plane(t).1;
        let inner = |t: f64| self.plane(t).0 - self.plane(t).2;
        let mut found = vec![halved(outer, maximum, maximum - 2.5)];
        if central {
            found.push(halved(inner, maximum, maximum - 0.25));
            found.push(halved(inner, maximum, maximum + 0.25));
        }
        found.push(halved(outer, maximum, maximum + 2.5));
        found
    }

    /// Hours from t0 of an instant, and back.
    fn hours(&self, utc: Utc, tt_minus_utc_s: f64) -> f64 {
        let day: jiff::civil::Date = self.row.text("t0_date_tdt").parse().unwrap();
        let noon = day.to_datetime(jiff::civil::Time::midnight());
        let t0 = contactstrip::domain::CameraTime::new(noon).read_as_utc();
        (utc.seconds_since(t0) + tt_minus_utc_s) / 3600.0 - self.row.needed("t0_hours_tdt")
    }
}

fn halved(f: impl Fn(f64) -> f64, mut inside: f64, mut outside: f64) -> f64 {
    for _ in 0..60 {
        let middle = (inside + outside) / 2.0;
        if f(middle) < 0.0 {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    inside
}

fn ours(contacts: &Contacts) -> Vec<Utc> {
    [
        Some(contacts.c1),
        contacts.c2,
        contacts.c3,
        Some(contacts.c4),
    ]
    .into_iter()
    .flatten()
    .map(|event| event.utc)
    .collect()
}

/// The published elements rest on VSOP87 and ELP2000-82 and are printed to seven decimals: 0.1 s where the shadow moves
/// at its usual pace; just inside a limit a contact slides twice as far, and farther where it grazes.
#[test]
fn published_elements_give_the_same_contacts() {
    let sites = rows("contacts_open.csv");
    let mut compared = 0;
    let mut wrong = Vec::new();
    for elements in rows("besselian_nasa_5mcse.csv") {
        for place in sites
            .iter()
            .filter(|site| site.text("date_utc") == elements.text("date"))
        {
            let options = ContactsOptions {
                radii: RADII,
                ..place.options()
            };
            let Ok(contacts) = contacts::at(&place.site(), place.date(), &options) else {
                continue;
            };
            let classical = Classical::new(&elements, place.site(), contacts.delta_t_s);
            let leap_s = eclipse_near(place.date()).unwrap().tt_minus_utc_s();
            let top = classical.hours(contacts.maximum.utc, leap_s);
            let theirs = classical.contacts(top, contacts.c2.is_some());
            let limit = match (place.text("grazing"), place.text("tag")) {
                ("1", _) => 0.5,
                (_, tag) if tag.starts_with("near limit") => 0.2,
                _ => 0.1,
            };
            for (n, (found, expected)) in ours(&contacts).into_iter().zip(theirs).enumerate() {
                let off = (classical.hours(found, leap_s) - expected).abs() * 3600.0;
                wrong.extend(beyond(
                    [(place.label(&n.to_string()), off, limit)].into_iter(),
                ));
                compared += 1;
            }
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    assert!(compared > 100, "{compared}");
}

/// Printed to 0.1 s, whole degrees and three decimals; the table's maximum is the least distance from the axis on the
/// fundamental plane, some tenths of a second from the least separation; DE200 and a fitted delta T.
#[test]
fn printed_local_circumstances_of_1999_agree() {
    let mut wrong = Vec::new();
    let table = rows("local_rp1398_1999_table21.csv");
    assert_eq!(table.len(), 13);
    for row in table {
        let options = ContactsOptions {
            // The bulletins take the IAU's Moon for the penumbra, the canon a smaller one.
            radii: Radii::IAU.with_inner(Radii::K_VALLEYS),
            delta_t_s: row.number("delta_t_fitted_s"),
            ..ContactsOptions::default()
        };
        let date = row.text("date").parse().unwrap();
        let contacts = contacts::at(&row.site(), date, &options).unwrap();
        // The table is in UT1: TT less its own delta T.
        let to_ut1_s = eclipse_near(date).unwrap().tt_minus_utc_s() - contacts.delta_t_s;
        for (name, event, limit) in [
            ("c1", contacts.c1, 0.15),
            ("max", contacts.maximum, 1.0),
            ("c4", contacts.c4, 0.15),
        ] {
            let printed = format!("{}T{}Z", row.text("date"), row.text(&format!("{name}_ut")));
            let printed = Utc::new(printed.parse().unwrap());
            let off = event.utc.plus_s(to_ut1_s).seconds_since(printed).abs();
            let label = |what: &str| format!("{} {name} {what}", row.text("site"));
            let degree = |column: &str| row.needed(&format!("{name}_{column}"));
            wrong.extend(beyond(
                [
                    (label("time"), off, limit),
                    (
                        label("P"),
                        turned(event.position_angle_deg, degree("P")),
                        0.6,
                    ),
                    (label("V"), turned(event.vertex_angle_deg, degree("V")), 0.6),
                    (
                        label("alt"),
                        turned(event.sky.sun_alt_deg, degree("alt")),
                        0.6,
                    ),
                ]
                .into_iter(),
            ));
        }
        wrong.extend(beyond(
            [
                (
                    row.text("site").to_owned() + " magnitude",
                    (contacts.magnitude - row.needed("magnitude")).abs(),
                    0.0011,
                ),
                (
                    row.text("site").to_owned() + " obscuration",
                    (contacts.obscuration - row.needed("obscuration")).abs(),
                    0.0011,
                ),
            ]
            .into_iter(),
        ));
    }
    assert_eq!(wrong, Vec::<String>::new());
}
