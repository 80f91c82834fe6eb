//! Rounds of measurements: files are decoded and looked at, many at once.

use super::at_once::{colour_bytes, each_frame, look_bytes};
use super::desk::Desk;
use super::opening::{self, Keep, open_and_examine};
use super::round::{Answer, Ask, Round, Task};
use super::{ModelError, Watch};
use crate::domain::Shot;

/// Measures what a round asks for, in parallel; one answer a task, in order.
///
/// # Errors
/// [`ModelError::Interrupted`].
pub(crate) fn measure(
    round: &Round,
    shots: &[Shot],
    desk: &Desk<'_>,
    watch: &dyn Watch,
) -> Result<Vec<Answer>, ModelError> {
    // What is seen of a sample is seen better in a moment: not drawn, but set aside.
    let bare = desk.bare();
    let (desk, keep) = match round.question.is_of_a_sample() {
        true => (&bare, Keep::Always),
        false => (desk, Keep::IfOpen),
    };
    let places: Vec<usize> = (0..round.tasks.len()).collect();
    watch.begin(round.question.stage(), places.len() as u64);
    let bytes = |place: usize| {
        let Task { shot: index, ask } = &round.tasks[place];
        match ask {
            Ask::Discs(_) => look_bytes(&shots[*index]),
            Ask::Tint(_) => colour_bytes(&shots[*index]),
        }
    };
    let answers = each_frame(&places, bytes, watch, |place| {
        let Task { shot: index, ask } = &round.tasks[place];
        let shot = &shots[*index];
        match ask {
            Ask::Discs(hint) => Answer::Discs(open_and_examine(*index, shot, hint, desk, keep)),
            Ask::Tint(sun) => Answer::Tint(opening::tint(*index, shot, *sun, desk)),
        }
    })?;
    watch.end();
    Ok(answers)
}
