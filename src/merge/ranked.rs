//! Medians and other places in a ranking.

/// The value at a part of the ranking of some, from 0 of the least to 1; `None` of none.
pub(super) fn ranked(values: &mut [f32], part: f64) -> Option<f32> {
    let last = values.len().checked_sub(1)?;
    let at = ((values.len() as f64 * part) as usize).min(last);
    Some(*values.select_nth_unstable_by(at, f32::total_cmp).1)
}
