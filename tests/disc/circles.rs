//! Circles through points, held to the fits of the literature and of scikit-image (`fixtures/disc`).

use std::collections::BTreeMap;
use std::path::Path;

use contactstrip::disc::{algebraic, geometric};
use contactstrip::domain::Circle;

/// Distance at which the stored robust fit begins to weigh points down.
const HUBER: f64 = 1.0;

/// One set of points with the circle of each method.
#[derive(Default)]
struct Set {
    points: Vec<(f64, f64)>,
    circles: BTreeMap<String, Circle>,
}

impl Set {
    /// Farthest of centre and radius from another method's.
    fn off(&self, ours: Circle, method: &str) -> f64 {
        let theirs = self.circles[method];
        (ours.x_px - theirs.x_px)
            .hypot(ours.y_px - theirs.y_px)
            .max((ours.radius_px - theirs.radius_px).abs())
    }
}

fn rows(name: &str) -> Vec<csv::StringRecord> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/disc");
    let mut reader = csv::Reader::from_path(folder.join(name)).unwrap();
    reader.records().map(Result::unwrap).collect()
}

fn sets() -> BTreeMap<String, Set> {
    let mut sets: BTreeMap<String, Set> = BTreeMap::new();
    let number = |row: &csv::StringRecord, i: usize| row[i].parse::<f64>().unwrap();
    for row in rows("points.csv") {
        let set = sets.entry(row[0].to_owned()).or_default();
        set.points.push((number(&row, 1), number(&row, 2)));
    }
    for row in rows("circles.csv") {
        let circle = Circle {
            x_px: number(&row, 2),
            y_px: number(&row, 3),
            radius_px: number(&row, 4),
        };
        let set = sets.get_mut(&row[0]).unwrap();
        set.circles.insert(row[1].to_owned(), circle);
    }
    assert_eq!(sets.len(), 11);
    sets
}

#[test]
fn the_algebraic_fit_is_the_published_one() {
    for (name, set) in sets() {
        let ours = algebraic(&set.points).unwrap();
        let off = set.off(ours, "hyper");
        assert!(off < 1e-6, "{name}: {off} {ours:?}");
    }
}

#[test]
fn it_lies_among_the_other_algebraic_fits_where_no_point_is_an_outlier() {
    for (name, set) in sets() {
        if name.ends_with("0.0") {
            let ours = algebraic(&set.points).unwrap();
            for method in ["pratt", "taubin"] {
                let off = set.off(ours, method);
                assert!(off < 0.01, "{name} {method}: {off}");
            }
        }
    }
}

#[test]
fn the_geometric_fit_has_the_least_squares() {
    for (name, set) in sets() {
        let start = algebraic(&set.points).unwrap();
        for (huber, method) in [(f64::INFINITY, "geometric"), (HUBER, "huber")] {
            let ours = geometric(&set.points, start, huber).unwrap().circle;
            let off = set.off(ours, method);
            assert!(off < 1e-5, "{name} {method}: {off} {ours:?}");
        }
    }
}

#[test]
fn it_is_nearer_the_truth_than_scikit_image_on_short_arcs_and_among_outliers() {
    for (name, set) in sets() {
        let start = algebraic(&set.points).unwrap();
        let huber = if name.ends_with("0.0") {
            f64::INFINITY
        } else {
            HUBER
        };
        let fit = geometric(&set.points, start, huber).unwrap();
        let ours = set.off(fit.circle, "truth");
        let theirs = set.off(set.circles["skimage"], "truth");
        assert!(ours < theirs + 0.02, "{name}: {ours} {theirs}");
        // The stated covariance speaks of the error.
        let sigma = (0..3)
            .map(|i| fit.covariance[(i, i)])
            .fold(0.0, f64::max)
            .sqrt();
        assert!(ours < 4.0 * sigma, "{name}: {ours} {sigma}");
    }
}
