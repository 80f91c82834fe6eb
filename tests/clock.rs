//! The `clock` room, through its door.

use crate::support::cards::{Outcome, outcome};

/// The pictures of a few random cards: solved clocks lie within their own sigmas, as `benches/clock.rs` shows on 200.
#[test]
fn sigmas_of_random_cards_are_honest() {
    let outcomes: Vec<Outcome> = (0..8).map(|seed| outcome(seed, 110.0)).collect();
    let solved: Vec<&Outcome> = outcomes.iter().filter(|o| o.solved).collect();
    assert!(solved.len() >= 6, "{outcomes:?}");
    for o in &solved {
        assert!(o.off_s.abs() < 3.5 * o.sigma_s, "{o:?}");
    }
    let near = solved.iter().filter(|o| o.off_s.abs() < 2.0 * o.sigma_s);
    assert!(near.count() + 1 >= solved.len(), "{outcomes:?}");
    for o in solved.iter().filter(|o| o.frames >= 15) {
        assert!(o.off_s.abs() < 2.5, "{o:?}");
    }
}
