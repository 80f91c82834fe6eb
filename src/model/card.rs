//! The model of a card: what is known of its site, its cameras, its lenses and each of its frames.
//!
//! It asks and is told: [`Card::due`] says which frames are due for a measurement and what for, [`Card::expected`] what is
//! expected of each, [`Card::take`] takes in what was found. It opens no file itself.
//!
//! A few frames of each lens are measured first, spread in time: they say how large the Sun is, how large the Moon shows
//! before it, the colour of the filter, and about when and how the camera was held. All frames are measured with that known,
//! most of them for good. The clock is solved from them; only frames of which something else is expected then than they were
//! measured with are measured again.

use std::collections::BTreeMap;

use super::clocks::{self, Before, Solved, Word};
use super::discs::{ScaleKey, Seen, scale_key};
use super::expected::{self, Moment};
use super::lens::{self, Lens, Lenses};
use super::place::Place;
use super::round::{Answer, Ask, Question, Round, Task};
use crate::disc::{self, DiscHint};
use crate::domain::{Circle, Estimate, FileFormat, Notice, Shot, median};

/// Frames of a lens that are measured first.
const SAMPLE: usize = 12;

/// Frames of a lens decoded in colour, to learn the tint of its filter.
const COLOURS: usize = 3;

/// One sigma of the ratio of the radii, as a fraction, while it is being learned: wide enough that the frames decide.
const LEARNING_RATIO_SIGMA: f64 = 0.02;

/// The Moon's radius over the Sun's where no eclipse is asked about: there is no Moon to find.
const NO_MOON: f64 = 1.0;

/// A disc whose flattening is known better than when it was measured by more than this much is measured again.
const FLAT_ENOUGH: f64 = 0.0015;

/// The questions of an eclipse, in an order in which each has what it needs.
const OF_AN_ECLIPSE: &[Question] = &[
    Question::SunSize,
    Question::FilterColour,
    // From frames of the sample that the first clock shows to be low; high ones have told.
    Question::MoonSize,
    Question::Discs,
    Question::SlippedZoom,
    // Lenses without enough such frames in the sample.
    Question::MoonSize,
    // How flat, and which way, only the clock and the camera's roll can say; the clock itself is the better for knowing it.
    Question::Flattening,
    // Beads and rings come last: they lack the vector between the centres, and the clock takes nothing from them.
    Question::Beads,
];

/// The questions of practice frames of the ordinary Sun.
const OF_THE_SUN: &[Question] = &[Question::SunSize, Question::FilterColour, Question::Discs];

/// All that is known of a card.
pub(crate) struct Card<'a> {
    shots: &'a [Shot],
    /// Whether a shot may be measured.
    wanted: &'a [bool],
    /// The eclipse and the site, with what is taken for true before the pictures are asked; `None` for practice frames of the ordinary Sun.
    eclipse: Option<(&'a Place, &'a Word<'a>)>,
    known: Known,
    /// How many of the questions were asked.
    asked: usize,
    /// Whether measurements came in that the clocks do not rest on yet.
    stale: bool,
    /// Whether the clocks were solved in the light of a solution that knew of as many frames how they are turned.
    level: bool,
    /// Whether the clocks take nothing from frames still to be measured.
    settled: bool,
}

/// What the measurements of a card say.
#[derive(Debug, Default)]
pub(crate) struct Known {
    /// What was seen, one a shot.
    pub(crate) seen: Vec<Seen>,
    /// The lenses.
    pub(crate) lenses: Lenses,
    /// The clocks, and how the frames are turned.
    pub(crate) solved: Solved,
    /// What a person should know of the clocks.
    pub(crate) notices: Vec<Notice>,
}

impl<'a> Card<'a> {
    /// The model of an eclipse's card of which nothing is measured yet. `wanted` says which shots may be measured, `word`
    /// what is taken for true before the pictures are asked.
    pub(crate) fn new(
        shots: &'a [Shot],
        wanted: &'a [bool],
        place: &'a Place,
        word: &'a Word<'a>,
    ) -> Self {
        Self {
            eclipse: Some((place, word)),
            ..Self::of_the_sun(shots, wanted)
        }
    }

    /// The model of practice frames of the ordinary Sun.
    pub(crate) fn of_the_sun(shots: &'a [Shot], wanted: &'a [bool]) -> Self {
        let known = Known {
            seen: vec![Seen::No; shots.len()],
            ..Known::default()
        };
        Self {
            shots,
            wanted,
            eclipse: None,
            known,
            asked: 0,
            stale: false,
            level: true,
            settled: false,
        }
    }

    /// What is known by now.
    pub(crate) fn known(self) -> Known {
        self.known
    }

    /// What is expected of a shot by all that is known now.
    pub(crate) fn expected(&self, index: usize) -> DiscHint {
        let shot = &self.shots[index];
        let lens = self.known.lenses.of(shot);
        match (self.eclipse, self.moment(index)) {
            (Some((place, _)), Some(moment)) => {
                let turn = self.known.solved.turn_of(index);
                moment.hint(shot, &lens, turn, place, self.settled)
            }
            _ => DiscHint {
                sun_radius_px: lens.sun_radius_at(shot),
                tint: lens.tint,
                totality: Some(false),
                ..DiscHint::default()
            },
        }
    }

    /// The frames due for a measurement next, and what for; `None` when nothing more is to be gained.
    pub(crate) fn due(&mut self) -> Option<Round> {
        let questions = match self.eclipse {
            Some(_) => OF_AN_ECLIPSE,
            None => OF_THE_SUN,
        };
        while let Some(&question) = questions.get(self.asked) {
            self.asked += 1;
            if question.needs_clock() {
                self.solve_clocks();
            }
            if question == Question::Beads {
                self.settle();
            }
            let tasks = self.tasks(question);
            if !tasks.is_empty() {
                return Some(Round { question, tasks });
            }
        }
        None
    }

    /// Takes in what was found in a round, one answer for each of its tasks, in order.
    pub(crate) fn take(&mut self, round: &Round, answers: Vec<Answer>) {
        match round.question {
            Question::FilterColour => self.take_tints(round, &answers),
            Question::MoonSize => self.take_moons(round, &answers),
            question => {
                for (task, answer) in round.tasks.iter().zip(answers) {
                    if let Answer::Discs(seen) = answer {
                        self.known.seen[task.shot] = seen;
                    }
                }
                self.stale |= question != Question::Beads;
                match question {
                    Question::SunSize => self.learn_sizes(),
                    Question::Discs if self.eclipse.is_some() => self.find_slips(),
                    _ => {}
                }
            }
        }
    }

    /// What is known of the moment of a shot; `None` without an eclipse.
    fn moment(&self, index: usize) -> Option<Moment> {
        let (place, word) = self.eclipse?;
        let shot = &self.shots[index];
        Some(Moment::of(shot, &self.known.solved, word.clocks, place))
    }

    /// The computed ratio of the radii about when a shot was taken, by its camera's own word, and the height of
    /// the Sun's disc over its width then.
    fn stated_sizes(&self, index: usize) -> (f64, f64) {
        let Some((place, word)) = self.eclipse else {
            return (NO_MOON, 1.0);
        };
        let sky = expected::stated_sky(&self.shots[index], word.clocks, place);
        (sky.ratio(), sky.vertical_squeeze)
    }

    /// Solves the clocks, in the light of the last solution: that says which mountains of the Moon each frame shows.
    fn solve_clocks(&mut self) {
        if let (Some((place, word)), true) = (self.eclipse, self.stale) {
            self.stale = false;
            self.known.notices.clear();
            let before = Before {
                word,
                solved: &self.known.solved,
            };
            let solved = clocks::solve(
                self.shots,
                &self.known.seen,
                &before,
                place,
                &mut self.known.notices,
            );
            self.level = solved.turned() == self.known.solved.turned();
            self.known.solved = solved;
        }
    }

    /// Lets the clocks stand as they are from now on; the Suns of slivers follow the vectors they give.
    fn settle(&mut self) {
        if !self.level {
            self.stale = true;
            self.solve_clocks();
        }
        self.settled = true;
        for index in 0..self.shots.len() {
            let hint = self.expected(index);
            if let Seen::Yes(report, _) = &mut self.known.seen[index] {
                disc::follow_vector(report, &hint);
            }
        }
    }

    fn tasks(&self, question: Question) -> Vec<Task> {
        match question {
            Question::SunSize => self.sun_size_tasks(),
            Question::FilterColour => self.colour_tasks(),
            Question::MoonSize => self.moon_size_tasks(),
            _ => (0..self.shots.len())
                .filter(|&index| self.is_due(question, index))
                .map(|index| discs_of(index, self.expected(index)))
                .collect(),
        }
    }

    /// Whether one frame is due for a question that is asked of each by itself.
    fn is_due(&self, question: Question, index: usize) -> bool {
        match question {
            Question::Discs => self.wanted[index] && !self.is_hopeless(index),
            Question::SlippedZoom => self.is_of_another_size(index),
            Question::Flattening => self.is_flattened_otherwise(index),
            Question::Beads => self.known.seen[index]
                .report()
                .is_some_and(|report| !disc::is_settled(report, &self.expected(index))),
            Question::SunSize | Question::FilterColour | Question::MoonSize => false,
        }
    }

    /// A frame of the sample that cannot be decoded, or that showed no disc when nothing was known and of which nothing more
    /// is known now.
    fn is_hopeless(&self, index: usize) -> bool {
        match &self.known.seen[index] {
            Seen::No => false,
            Seen::Broken(_) => true,
            Seen::Yes(report, _) => {
                report.fit.is_err() && self.expected(index).sun_radius_px.is_none()
            }
        }
    }

    /// Whether the lens's Sun is known by now to have another size than the frame was measured with.
    fn is_of_another_size(&self, index: usize) -> bool {
        let then = self.known.seen[index]
            .hint()
            .and_then(|hint| hint.sun_radius_px);
        let now = self.known.lenses.of(&self.shots[index]);
        let now = now.sun_radius_at(&self.shots[index]);
        then.zip(now)
            .is_some_and(|(then, now)| (then.value - now.value).abs() > then.sigma.min(now.sigma))
    }

    /// Whether a frame's discs are flattened otherwise than they were measured with.
    fn is_flattened_otherwise(&self, index: usize) -> bool {
        let seen = &self.known.seen[index];
        let known = seen.fit().and_then(|_| self.expected(index).squeeze);
        known.is_some() && flattening_apart(known, seen.squeeze()) > FLAT_ENOUGH
    }

    /// A few frames of each lens, of which nothing is expected but about how large the Moon is.
    fn sun_size_tasks(&self) -> Vec<Task> {
        let groups = self.by_lens(&|index| self.wanted[index]);
        let sample = groups.iter().flat_map(|group| spread(self.shots, group));
        sample
            .map(|index| {
                let (ratio, _) = self.stated_sizes(index);
                let hint = DiscHint {
                    moon_ratio: Some(Estimate::relative(ratio, LEARNING_RATIO_SIGMA)),
                    ..DiscHint::default()
                };
                discs_of(index, hint)
            })
            .collect()
    }

    /// The first Suns of each lens, of files that are not decoded in colour anyway.
    fn colour_tasks(&self) -> Vec<Task> {
        let sun = |index: &usize| -> Option<(usize, Circle)> {
            let sun = lens::sun_seen(self.known.seen[*index].fit()?)?;
            Some((*index, sun))
        };
        let groups = self.by_lens(&|_| true);
        groups
            .iter()
            .flat_map(|group| group.iter().filter_map(sun).take(COLOURS))
            .filter(|(index, _)| self.shots[*index].file.format == FileFormat::Jpeg)
            .map(|(shot, sun)| Task {
                shot,
                ask: Ask::Tint(sun),
            })
            .collect()
    }

    /// A few frames that show the Moon's limb well, of each lens that knows its Sun and not how large the Moon shows.
    fn moon_size_tasks(&self) -> Vec<Task> {
        let is_open = |index: usize| {
            let lens = self.known.lenses.of(&self.shots[index]);
            let known = lens.sun_radius_at(&self.shots[index]).is_some();
            let fit = self.known.seen[index].fit();
            known && lens.moon_excess_px.is_none() && fit.is_some_and(lens::shows_moon_radius)
        };
        // While only the sample is measured, a frame without a sure time has told all it can.
        let all_measured = self.asked > ALL_MEASURED;
        self.by_lens(&is_open)
            .iter()
            .flat_map(|group| spread(self.shots, group))
            .filter(|&index| all_measured || self.moment(index).is_some_and(|m| m.is_timed()))
            .filter_map(|index| {
                let hint = self.expected(index);
                let ratio = self.moment(index)?.ratio();
                let loose = DiscHint {
                    moon_ratio: Some(Estimate::relative(ratio, LEARNING_RATIO_SIGMA)),
                    ..hint
                };
                Some(discs_of(index, loose))
            })
            .collect()
    }

    /// Shots of each lens that pass, in order.
    fn by_lens(&self, passes: &dyn Fn(usize) -> bool) -> Vec<Vec<usize>> {
        let mut groups: BTreeMap<ScaleKey, Vec<usize>> = BTreeMap::new();
        for index in (0..self.shots.len()).filter(|&index| passes(index)) {
            let key = scale_key(&self.shots[index]);
            groups.entry(key).or_default().push(index);
        }
        groups.into_values().collect()
    }

    /// What the sample says of each lens: its Sun, and how large the Moon shows where the Sun is round.
    fn learn_sizes(&mut self) {
        for group in self.by_lens(&|index| self.wanted[index]) {
            let fits = || {
                let seen = |index: &usize| Some((*index, self.known.seen[*index].fit()?));
                group.iter().filter_map(seen)
            };
            let excesses = fits().filter_map(|(index, fit)| match self.stated_sizes(index) {
                (ratio, squeeze) if expected::is_round(squeeze) => lens::excess_px(fit, ratio),
                _ => None,
            });
            let lens = Lens {
                sun_radius_px: lens::sun_radius_px(
                    fits().map(|(index, fit)| (fit, self.stated_sizes(index).1)),
                    scale_key(&self.shots[group[0]]).names_camera(),
                ),
                moon_excess_px: lens::moon_excess_px(excesses.collect()),
                ..Lens::default()
            };
            let key = scale_key(&self.shots[group[0]]);
            self.known.lenses.0.insert(key, lens);
        }
        self.find_slips();
    }

    /// Finds the lenses whose Sun changes its size although no header says so.
    fn find_slips(&mut self) {
        let round = |index: usize| expected::is_round(self.stated_sizes(index).1);
        let mut slips = lens::slips(self.shots, &self.known.seen, &round);
        for (key, lens) in &mut self.known.lenses.0 {
            lens.slips = slips.remove(key).unwrap_or_default();
        }
    }

    fn take_tints(&mut self, round: &Round, answers: &[Answer]) {
        let mut shown: BTreeMap<ScaleKey, Vec<f64>> = BTreeMap::new();
        for (task, answer) in round.tasks.iter().zip(answers) {
            if let Answer::Tint(Some(tint)) = answer {
                let key = scale_key(&self.shots[task.shot]);
                shown.entry(key).or_default().push(*tint);
            }
        }
        for (key, mut tints) in shown {
            self.known.lenses.0.entry(key).or_default().tint = median(&mut tints);
        }
    }

    fn take_moons(&mut self, round: &Round, answers: &[Answer]) {
        let mut excesses: BTreeMap<ScaleKey, Vec<f64>> = BTreeMap::new();
        for (task, answer) in round.tasks.iter().zip(answers) {
            if let (Answer::Discs(seen), Some(moment)) = (answer, self.moment(task.shot))
                && let Some(excess_px) = seen
                    .fit()
                    .and_then(|fit| lens::excess_px(fit, moment.ratio()))
            {
                let key = scale_key(&self.shots[task.shot]);
                excesses.entry(key).or_default().push(excess_px);
            }
        }
        for (key, all) in excesses {
            let lens = self.known.lenses.0.entry(key).or_default();
            lens.moon_excess_px = lens::moon_excess_px(all);
        }
    }
}

fn discs_of(shot: usize, hint: DiscHint) -> Task {
    Task {
        shot,
        ask: Ask::Discs(hint),
    }
}

/// Questions asked when all frames have been measured.
const ALL_MEASURED: usize = 5;

/// How far two flattenings are apart, with none as a round disc: as ellipses, which are the same turned by half.
fn flattening_apart(a: Option<(f64, f64)>, b: Option<(f64, f64)>) -> f64 {
    let vector = |squeeze: Option<(f64, f64)>| {
        let (height, zenith_deg) = squeeze.unwrap_or((1.0, 0.0));
        let (sin, cos) = (2.0 * zenith_deg).to_radians().sin_cos();
        ((1.0 - height) * cos, (1.0 - height) * sin)
    };
    let (a, b) = (vector(a), vector(b));
    (a.0 - b.0).hypot(a.1 - b.1)
}

/// Up to [`SAMPLE`] of a group, evenly spread in time, so that long series of brackets do not crowd out the partials; evenly
/// spread in order where there are no times.
fn spread(shots: &[Shot], group: &[usize]) -> Vec<usize> {
    let mut timed: Vec<(f64, usize)> = group
        .iter()
        .filter_map(|&index| {
            let stamp = shots[index].stamp.as_ref()?;
            Some((stamp.time.read_as_utc().unix_s(), index))
        })
        .collect();
    let count = group.len().min(SAMPLE);
    if timed.len() < count {
        return (0..count).map(|n| group[n * group.len() / count]).collect();
    }
    timed.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, last) = (timed[0].0, timed[timed.len() - 1].0);
    let mut chosen: Vec<usize> = (0..count)
        .filter_map(|n| {
            let due = first + (last - first) * (n as f64 + 0.5) / count as f64;
            let away = |place: &usize| (timed[*place].0 - due).abs();
            let best = (0..timed.len()).min_by(|a, b| away(a).total_cmp(&away(b)))?;
            Some(timed.remove(best).1)
        })
        .collect();
    chosen.sort_unstable();
    chosen
}

#[cfg(test)]
mod tests;
