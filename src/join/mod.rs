//! Joins the records of cards that were sorted by themselves, of several cameras or several people along the path, into one.
//!
//! Nothing is measured again: every shot keeps its own time, phase, discs and north. Names of files begin with the name of their card, so
//! that they stay apart; files whose contents two cards have count once.

mod bodies;
mod error;
mod gather;
mod names;

pub use error::JoinError;
pub use gather::{Joining, SortedCard};
pub use names::names;

use std::collections::BTreeMap;

use jiff::civil::Date;

/// The eclipse most cards are of, given the date of each; `None` where two have as many.
pub fn common_eclipse(dates: &[Option<Date>]) -> Option<Date> {
    let mut counts: BTreeMap<Date, usize> = BTreeMap::new();
    for date in dates.iter().flatten() {
        *counts.entry(*date).or_default() += 1;
    }
    let most = counts.values().copied().max()?;
    let mut first = counts.iter().filter(|(_, n)| **n == most);
    let found = first.next().map(|(date, _)| *date);
    found.filter(|_| first.next().is_none())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_eclipse_of_most_cards_is_taken_and_none_where_they_are_even() {
        let at = |text: &str| Some(text.parse::<Date>().unwrap());
        let (a, b) = (at("2019-07-02"), at("2024-04-08"));
        assert_eq!(common_eclipse(&[a, b, b, None]), b);
        assert_eq!(common_eclipse(&[a, b]), None);
        assert_eq!(common_eclipse(&[None]), None);
    }
}
