//! Marks what falls behind the measured horizon.

use super::course::{Sight, sight};
use super::input::PlanInput;
use super::sheet::{Sheet, TotalityStep};
use crate::domain::Utc;

/// Marks partials, countdowns and steps at whose moments the measured horizon hides the Sun, wholly or in part.
pub(super) fn mark(sheet: &mut Sheet, input: &PlanInput<'_>) {
    let Some(skyline) = &input.skyline else {
        return;
    };
    let behind = |utc: Utc| sight(skyline, &(input.sky)(utc)) != Sight::Clear;
    for partial in &mut sheet.partials {
        partial.behind_horizon = behind(partial.utc);
    }
    for line in sheet.countdowns.iter_mut().flat_map(|c| &mut c.lines) {
        line.behind_horizon = behind(line.utc);
    }
    let totality = sheet.totality.iter_mut().flat_map(|plan| &mut plan.steps);
    let ring = sheet.ring.iter_mut().flat_map(|plan| &mut plan.steps);
    let steps: Vec<&mut TotalityStep> = totality.chain(ring).collect();
    if let Some(c2) = input.contacts.c2 {
        for step in steps {
            step.behind_horizon = behind(c2.utc.plus_s(step.from_c2_s));
        }
    }
}
