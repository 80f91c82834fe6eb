//! Tests of the layouts.

use super::super::recipe::Paper;
use super::*;

fn pieces(before: usize, reach: f64, after: usize) -> Vec<PieceGeometry> {
    let sky = |i: usize| SkyPlace {
        az_deg: 340.0 - 1.2 * i as f64,
        alt_deg: 30.0 - 1.1 * i as f64,
        radius_deg: 0.265,
    };
    (0..before + 1 + after)
        .map(|i| PieceGeometry {
            middle: i == before,
            reach: if i == before { reach } else { 1.3 },
            sky: Some(sky(i)),
        })
        .collect()
}

const ALL: [Arrangement; 6] = [
    Arrangement::Row,
    Arrangement::Arc,
    Arrangement::Grid,
    Arrangement::Ring,
    Arrangement::Diagonal,
    Arrangement::Path,
];

fn recipe(arrangement: Arrangement) -> Recipe {
    Recipe {
        arrangement,
        ..Recipe::default()
    }
}

#[test]
fn no_disc_touches_another_or_the_corona() {
    for arrangement in ALL {
        for (before, after) in [(1, 1), (5, 7), (12, 12), (0, 3)] {
            let pieces = pieces(before, 4.0, after);
            let laid = layout(&recipe(arrangement), &pieces).unwrap();
            for (i, a) in laid.places.iter().enumerate() {
                for (b, piece) in laid.places.iter().zip(&pieces).take(i) {
                    let apart = (a.x_px - b.x_px).hypot(a.y_px - b.y_px);
                    let corona = if pieces[i].middle {
                        a.reach_px
                    } else if piece.middle {
                        b.reach_px
                    } else {
                        laid.disc_radius_px
                    };
                    assert!(
                        apart > corona + laid.disc_radius_px,
                        "{arrangement:?}, {before} and {after}: {apart} px apart"
                    );
                }
            }
        }
    }
}

#[test]
fn everything_stands_on_the_canvas() {
    let paper = |width, height| {
        Some(Paper {
            width,
            height,
            in_cm: false,
        })
    };
    for arrangement in ALL {
        for paper in [None, paper(8.0, 10.0), paper(18.0, 12.0), paper(84.0, 12.0)] {
            let recipe = Recipe {
                paper,
                bleed_in: 0.125,
                ..recipe(arrangement)
            };
            let pieces = pieces(6, 3.5, 6);
            let laid = layout(&recipe, &pieces).unwrap();
            for (place, piece) in laid.places.iter().zip(&pieces) {
                let half = if piece.middle {
                    place.reach_px
                } else {
                    laid.disc_radius_px
                };
                assert!(place.x_px - half >= 0.0 && place.y_px - half >= 0.0);
                assert!(place.x_px + half < laid.width_px as f64);
                assert!(place.y_px + half < laid.height_px as f64);
            }
        }
    }
}

#[test]
fn captions_stay_clear_of_discs_and_of_each_other() {
    for arrangement in ALL {
        for (before, after) in [(5, 7), (12, 12), (0, 3), (7, 7)] {
            let recipe = Recipe {
                captions: Captions::Both,
                ..recipe(arrangement)
            };
            let pieces = pieces(before, 4.0, after);
            let laid = layout(&recipe, &pieces).unwrap();
            let radius = laid.disc_radius_px;
            // Five figures are some three heights of their line across; there are two lines.
            let (w, h) = (1.52 * laid.caption_line_px, laid.caption_line_px);
            for (i, place) in laid.places.iter().enumerate() {
                let (x, y) = place.caption_px.unwrap();
                assert!(x - w >= 0.0 && x + w < laid.width_px as f64);
                assert!(y - h >= 0.0 && y + h < laid.height_px as f64);
                for (j, other) in laid.places.iter().enumerate() {
                    let beyond = |v: f64, half: f64| (v.abs() - half).max(0.0);
                    let apart = beyond(other.x_px - x, w).hypot(beyond(other.y_px - y, h));
                    assert!(apart > radius, "{arrangement:?}: caption {i} on disc {j}");
                    let (ox, oy) = other.caption_px.unwrap();
                    let clear = (ox - x).abs() > 2.0 * w || (oy - y).abs() > 2.0 * h;
                    assert!(i == j || clear, "{arrangement:?}: captions {i} and {j}");
                }
            }
        }
    }
}

#[test]
fn the_middle_of_a_grid_a_ring_and_an_arc_stands_in_the_centre() {
    for arrangement in [Arrangement::Arc, Arrangement::Grid, Arrangement::Ring] {
        for (before, after) in [(13, 12), (12, 13), (6, 6)] {
            let laid = layout(&recipe(arrangement), &pieces(before, 3.0, after)).unwrap();
            let off = laid.places[before].x_px - (laid.width_px as f64 - 1.0) / 2.0;
            assert!(
                off.abs() < 1.0,
                "{arrangement:?} {before} {after}: {off} px"
            );
        }
    }
}

#[test]
fn an_open_margin_leaves_a_25th_free() {
    let paper = Some(Paper {
        width: 18.0,
        height: 12.0,
        in_cm: false,
    });
    for arrangement in ALL {
        let recipe = Recipe {
            paper,
            ..recipe(arrangement)
        };
        let laid = layout(&recipe, &pieces(9, 3.0, 8)).unwrap();
        for place in &laid.places {
            let r = laid.disc_radius_px;
            let free = (place.x_px - r).min(laid.width_px as f64 - place.x_px - r);
            assert!(
                free > 0.039 * laid.width_px as f64,
                "{arrangement:?}: {free}"
            );
            let free = (place.y_px - r).min(laid.height_px as f64 - place.y_px - r);
            assert!(
                free > 0.039 * laid.height_px as f64,
                "{arrangement:?}: {free}"
            );
        }
    }
}

#[test]
fn large_discs_have_modest_captions() {
    let recipe = Recipe {
        captions: Captions::Time,
        ..Recipe::default()
    };
    let few = layout(&recipe, &pieces(1, 2.0, 1)).unwrap();
    let side = (few.width_px as f64 * few.height_px as f64).sqrt();
    assert!(few.caption_line_px < side / 35.0);
    let many = layout(&recipe, &pieces(12, 2.0, 12)).unwrap();
    assert!((many.caption_line_px - CAPTION_LINE_RADII * many.disc_radius_px).abs() < 1e-9);
}

#[test]
fn paper_and_bleed_give_the_size() {
    let paper = Some(Paper {
        width: 84.0,
        height: 12.0,
        in_cm: false,
    });
    let laid = layout(
        &Recipe {
            paper,
            ..Recipe::default()
        },
        &pieces(8, 4.0, 8),
    )
    .unwrap();
    assert_eq!((laid.width_px, laid.height_px), (25_200, 3_600));
    let cm = Some(Paper {
        width: 25.4,
        height: 12.7,
        in_cm: true,
    });
    let recipe = Recipe {
        paper: cm,
        bleed_in: 0.125,
        ..Recipe::default()
    };
    let laid = layout(&recipe, &pieces(3, 3.0, 3)).unwrap();
    assert_eq!((laid.width_px, laid.height_px), (3_075, 1_575));
}

#[test]
fn a_row_is_level_in_order_and_evenly_spaced() {
    let laid = layout(&Recipe::default(), &pieces(4, 4.0, 4)).unwrap();
    let gaps: Vec<f64> = laid
        .places
        .windows(2)
        .map(|p| p[1].x_px - p[0].x_px)
        .collect();
    assert!(
        laid.places
            .iter()
            .all(|p| (p.y_px - laid.places[0].y_px).abs() < 1e-9)
    );
    assert!((gaps[0] - 2.5 * laid.disc_radius_px).abs() < 1e-6);
    assert!((gaps[3] - gaps[4]).abs() < 1e-6 && gaps[3] > gaps[0]);
    assert_eq!(laid.width_px, 6_000);
}

#[test]
fn what_cannot_be_made_is_said() {
    assert_eq!(layout(&Recipe::default(), &[]), Err(LayoutError::Empty));
    let large = Recipe {
        disc_px: Some(5_000.0),
        ..Recipe::default()
    };
    assert!(matches!(
        layout(&large, &pieces(3, 3.0, 3)),
        Err(LayoutError::DiscTooLarge { .. })
    ));
    let mut lost = pieces(2, 3.0, 2);
    lost[1].sky = None;
    assert_eq!(
        layout(&recipe(Arrangement::Path), &lost),
        Err(LayoutError::NoSky(2))
    );
    let crowd = pieces(2_000, 3.0, 2_000);
    assert!(matches!(
        layout(&Recipe::default(), &crowd),
        Err(LayoutError::TooSmall { .. })
    ));
}
