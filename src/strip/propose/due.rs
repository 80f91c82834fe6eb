//! Due times, and the frame that answers each.

use super::super::zone::local_time;
use super::{By, MOMENT_S, MOST_EACH_SIDE, Wish, passable, trouble};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Notice, Utc};

/// How far from its due time a partial frame may be without harm, in seconds (common practice: a minute either way).
const HARMLESS_S: f64 = 60.0;

/// A gap this many times the usual step is told.
const WIDE: f64 = 1.6;

/// Places tried for the due times within one step.
const OFFSETS: usize = 40;

/// A frame that could stand in the strip.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    pub(super) name: String,
    pub(super) utc: Utc,
    obscuration: Option<f64>,
    pub(super) quality: f64,
    body: String,
    /// Why it should not be taken.
    pub(super) trouble: Option<String>,
    /// Whether it may fill a place all the same.
    passable: bool,
}

impl Candidate {
    /// `None` for a frame without a time.
    pub(super) fn of(catalogue: &Catalogue, record: &ShotRecord) -> Option<Self> {
        Some(Self {
            name: record.name().to_owned(),
            utc: record.utc?,
            obscuration: record.predicted.map(|sky| sky.obscuration),
            quality: record.quality.filter(|q| q.is_finite()).unwrap_or(0.5),
            body: catalogue.camera_label(&record.shot).to_owned(),
            trouble: trouble(record),
            passable: passable(record),
        })
    }
}

/// One side of the strip: candidates with their distance from the middle, counted outwards.
pub(super) struct Side<'a> {
    frames: Vec<Outward<'a>>,
    /// Whether outwards is back in time.
    back: bool,
    inner: Utc,
}

/// A candidate and its seconds from the inner end of its side.
#[derive(Clone, Copy)]
struct Outward<'a> {
    out_s: f64,
    frame: &'a Candidate,
}

impl<'a> Side<'a> {
    pub(super) fn before(frames: &[&'a Candidate], inner: Utc) -> Self {
        Self::new(frames, inner, true)
    }

    pub(super) fn after(frames: &[&'a Candidate], inner: Utc) -> Self {
        Self::new(frames, inner, false)
    }

    fn new(frames: &[&'a Candidate], inner: Utc, back: bool) -> Self {
        let out_s = |c: &Candidate| c.utc.seconds_since(inner).abs();
        let mut frames: Vec<Outward<'a>> = frames
            .iter()
            .map(|frame| Outward {
                out_s: out_s(frame),
                frame,
            })
            .collect();
        frames.sort_by(|a, b| {
            a.out_s
                .total_cmp(&b.out_s)
                .then_with(|| a.frame.name.cmp(&b.frame.name))
        });
        Self {
            frames,
            back,
            inner,
        }
    }

    fn good(&self) -> impl Iterator<Item = &Outward<'a>> {
        self.frames.iter().filter(|f| f.frame.trouble.is_none())
    }

    /// The farthest frame of any kind, in seconds from the inner end.
    fn length_s(&self) -> f64 {
        self.frames.last().map_or(0.0, |f| f.out_s)
    }

    fn utc(&self, out_s: f64) -> Utc {
        self.inner.plus_s(if self.back { -out_s } else { out_s })
    }
}

/// A time (or obscuration) that is due, and the frame taken for it.
struct Pick<'a> {
    due_s: f64,
    taken: Outward<'a>,
}

/// The names chosen for each side, in time order.
pub(super) fn chosen(
    catalogue: &Catalogue,
    sides: &[Side<'_>; 2],
    wish: &Wish,
    notices: &mut Vec<Notice>,
) -> [Vec<String>; 2] {
    let step_s = step_s(sides, wish);
    let body = main_body(sides);
    let each = |side: &Side<'_>, notices: &mut Vec<Notice>| {
        let picks = match wish.by {
            By::Time => by_time(side, step_s, wish, &body),
            By::Obscuration => by_obscuration(side, wish, &body, notices),
        };
        tell(catalogue, side, &picks, step_s, wish.by, notices);
        let mut names: Vec<String> = picks.iter().map(|p| p.taken.frame.name.clone()).collect();
        if side.back {
            names.reverse();
        }
        names
    };
    let before = each(&sides[0], notices);
    let after = each(&sides[1], notices);
    [before, after]
}

/// The body with the most good frames; of equals the first by name.
fn main_body(sides: &[Side<'_>; 2]) -> String {
    let mut counts: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    for frame in sides.iter().flat_map(Side::good) {
        *counts.entry(frame.frame.body.as_str()).or_default() += 1;
    }
    let most = counts.values().copied().max();
    let found = counts.iter().find(|(_, n)| Some(**n) == most);
    found.map_or_else(String::new, |(body, _)| (*body).to_owned())
}

/// The step of the due times: the card's own pace, or whole multiples of it when that gives too many frames.
fn step_s(sides: &[Side<'_>; 2], wish: &Wish) -> f64 {
    let length_s = sides
        .iter()
        .map(Side::length_s)
        .fold(0.0, f64::max)
        .max(1.0);
    let pace_s = pace_s(sides).unwrap_or(length_s);
    let asked = wish.each_side.unwrap_or(MOST_EACH_SIDE).max(1);
    let least_s = length_s / (asked as f64 + 0.5);
    if wish.each_side.is_some() && least_s > pace_s * 4.0 {
        // Far fewer frames than there are: any step finds one near.
        return least_s;
    }
    let multiple = (least_s / pace_s - 0.1).ceil().max(1.0);
    pace_s * multiple
}

/// The usual time between two moments of shooting; `None` with fewer than two.
fn pace_s(sides: &[Side<'_>; 2]) -> Option<f64> {
    let mut steps = Vec::new();
    for side in sides {
        let mut last: Option<f64> = None;
        for frame in &side.frames {
            match last {
                Some(start) if frame.out_s - start < MOMENT_S => {}
                Some(start) => {
                    steps.push(frame.out_s - start);
                    last = Some(frame.out_s);
                }
                None => last = Some(frame.out_s),
            }
        }
    }
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied()
}

/// Due times every step outwards, set so that the frames miss them least.
fn due_times_s(side: &Side<'_>, step_s: f64, most: usize) -> Vec<f64> {
    let times = |offset_s: f64| -> Vec<f64> {
        let last_s = side.length_s() + step_s / 4.0;
        let count = ((last_s - offset_s) / step_s).floor().max(-1.0) as i64 + 1;
        (0..count.clamp(0, most as i64))
            .map(|k| offset_s + k as f64 * step_s)
            .collect()
    };
    let miss = |due: &[f64]| -> f64 {
        let nearest = |t: f64| {
            side.good()
                .map(|f| (f.out_s - t).abs())
                .fold(step_s / 2.0, f64::min)
        };
        let missed: f64 = due.iter().map(|t| (nearest(*t) / step_s).powi(2)).sum();
        missed / due.len().max(1) as f64
    };
    let mut best: Option<(f64, Vec<f64>)> = None;
    for n in 1..=OFFSETS {
        let offset_s = step_s * n as f64 / OFFSETS as f64;
        let due = times(offset_s);
        // A hair's preference for half a step from the middle settles ties.
        let lean = 1e-4 * (n as f64 / OFFSETS as f64 - 0.5).abs();
        let cost = miss(&due) + lean - 0.02 * due.len() as f64 / most.max(1) as f64;
        if best.as_ref().is_none_or(|(so_far, _)| cost < *so_far) {
            best = Some((cost, due));
        }
    }
    best.map_or_else(Vec::new, |(_, due)| due)
}

fn by_time<'a>(side: &Side<'a>, step_s: f64, wish: &Wish, body: &str) -> Vec<Pick<'a>> {
    let most = wish.each_side.unwrap_or(MOST_EACH_SIDE);
    let mut picks: Vec<Pick<'a>> = Vec::new();
    for due_s in due_times_s(side, step_s, most) {
        let after_s = picks.last().map_or(f64::NEG_INFINITY, |p| p.taken.out_s);
        let cost = |f: &Outward<'_>| {
            let off = 2.0 * (f.out_s - due_s).abs() / step_s;
            off * off + 0.3 * (1.0 - f.frame.quality) + if f.frame.body == body { 0.0 } else { 0.5 }
        };
        let open = |f: &&Outward<'_>| (f.out_s - due_s).abs() <= 0.5 * step_s && f.out_s > after_s;
        let best = |a: &&Outward<'_>, b: &&Outward<'_>| cost(a).total_cmp(&cost(b));
        let near = side.good().filter(open).min_by(best).or_else(|| {
            let passable = side.frames.iter().filter(|f| f.frame.passable);
            passable.filter(open).min_by(best)
        });
        picks.extend(near.map(|taken| Pick {
            due_s,
            taken: *taken,
        }));
    }
    picks
}

/// Equal steps of obscuration; frames of which it is not known are passed over. Steps no good frame is near are told.
fn by_obscuration<'a>(
    side: &Side<'a>,
    wish: &Wish,
    body: &str,
    notices: &mut Vec<Notice>,
) -> Vec<Pick<'a>> {
    let count = wish.each_side.unwrap_or(MOST_EACH_SIDE / 2).max(1);
    let mut picks: Vec<Pick<'a>> = Vec::new();
    for k in (0..count).rev() {
        let due = (k as f64 + 0.5) / count as f64;
        let after_s = picks.last().map_or(f64::NEG_INFINITY, |p| p.taken.out_s);
        let off = |f: &Outward<'_>| {
            f.frame
                .obscuration
                .map_or(f64::INFINITY, |o| (o - due).abs())
        };
        let cost = |f: &Outward<'_>| {
            let miss = 2.0 * off(f) * count as f64;
            miss * miss
                + 0.3 * (1.0 - f.frame.quality)
                + if f.frame.body == body { 0.0 } else { 0.5 }
        };
        let open = |f: &&Outward<'_>| off(f) <= 0.5 / count as f64 && f.out_s > after_s;
        let nearest = |a: &&Outward<'_>, b: &&Outward<'_>| off(a).total_cmp(&off(b));
        let due_frame = side.frames.iter().filter(open).min_by(nearest);
        match side
            .good()
            .filter(open)
            .min_by(|a, b| cost(a).total_cmp(&cost(b)))
        {
            Some(taken) => picks.push(Pick {
                // The time that was due is that of the frame nearest in obscuration, where that one is troubled.
                due_s: due_frame
                    .filter(|f| f.frame.trouble.is_some())
                    .map_or(taken.out_s, |f| f.out_s),
                taken: *taken,
            }),
            None => notices.push(no_step(side, due, due_frame)),
        }
    }
    picks
}

/// The notice for a step of obscuration that stays empty.
fn no_step(side: &Side<'_>, due: f64, due_frame: Option<&Outward<'_>>) -> Notice {
    let when = if side.back { "before" } else { "after" };
    let why = match due_frame {
        Some(f) => format!(
            "{} {}",
            f.frame.name,
            f.frame.trouble.as_deref().unwrap_or("is taken")
        ),
        None => "there is no frame".to_owned(),
    };
    Notice::look(format!(
        "nothing in the strip near {:.0} % covered {when} the middle: {why}",
        100.0 * due
    ))
}

/// Says which frames stand in for others, and where gaps are wide.
fn tell(
    catalogue: &Catalogue,
    side: &Side<'_>,
    picks: &[Pick<'_>],
    step_s: f64,
    by: By,
    notices: &mut Vec<Notice>,
) {
    let mut told = Vec::new();
    for (i, pick) in picks.iter().enumerate() {
        told.extend(substitution(catalogue, side, pick, step_s));
        let next = picks.get(i + 1);
        let next = next.filter(|_| by == By::Time);
        told.extend(next.and_then(|next| wide_gap(catalogue, side, pick, next, step_s)));
    }
    if side.back {
        told.reverse();
    }
    notices.extend(told);
}

/// The notice for a frame taken because the one due is flagged, or there is none near.
fn substitution(
    catalogue: &Catalogue,
    side: &Side<'_>,
    pick: &Pick<'_>,
    step_s: f64,
) -> Option<Notice> {
    let off_s = (pick.taken.out_s - pick.due_s).abs();
    let harmless_s = HARMLESS_S.min(step_s / 5.0);
    let due = side.frames.iter().min_by(|a, b| {
        (a.out_s - pick.due_s)
            .abs()
            .total_cmp(&(b.out_s - pick.due_s).abs())
    })?;
    let apart_s = (due.out_s - pick.taken.out_s).abs();
    let when = local_time(catalogue, side.utc(pick.due_s), "%H:%M:%S");
    let name = &pick.taken.frame.name;
    if let Some(why) = &pick.taken.frame.trouble {
        let text = format!("{why}, but stands in the strip for {when}; no better frame is near");
        return Some(Notice::look(text).about(name));
    }
    let text = match &due.frame.trouble {
        Some(why) if apart_s > MOMENT_S => format!(
            "stands in the strip for {}, which {why}; {} from the due time {when}",
            due.frame.name,
            span(off_s)
        ),
        _ if off_s > harmless_s => format!(
            "is {} from its due time {when}; none is nearer",
            span(off_s)
        ),
        _ => return None,
    };
    Some(Notice::note(text).about(name))
}

fn wide_gap(
    catalogue: &Catalogue,
    side: &Side<'_>,
    near: &Pick<'_>,
    far: &Pick<'_>,
    step_s: f64,
) -> Option<Notice> {
    let gap_s = far.taken.out_s - near.taken.out_s;
    if gap_s <= WIDE * step_s {
        return None;
    }
    let (first, last) = if side.back { (far, near) } else { (near, far) };
    let mut between: Vec<&Candidate> = side
        .frames
        .iter()
        .filter(|f| f.out_s > near.taken.out_s && f.out_s < far.taken.out_s)
        .map(|f| f.frame)
        .collect();
    between.sort_by_key(|c| c.utc);
    let why = why_empty(&between);
    Some(Notice::look(format!(
        "a gap of {} in the strip between {} and {} ({} to {}): {why}; the usual step is {}",
        span(gap_s),
        first.taken.frame.name,
        last.taken.frame.name,
        local_time(catalogue, first.taken.frame.utc, "%H:%M:%S"),
        local_time(catalogue, last.taken.frame.utc, "%H:%M:%S"),
        span(step_s)
    )))
}

/// Why no frame of a gap was taken.
fn why_empty(between: &[&Candidate]) -> String {
    let troubled: Vec<String> = between
        .iter()
        .filter_map(|c| Some(format!("{} {}", c.name, c.trouble.as_ref()?)))
        .collect();
    match troubled.as_slice() {
        [] => "there are no frames".to_owned(),
        [one] => one.clone(),
        [one, more @ ..] => format!("{one}, and {} more are no better", more.len()),
    }
}

/// A length of time in words.
fn span(s: f64) -> String {
    if s < 100.0 {
        format!("{s:.0} s")
    } else {
        format!("{:.1} min", s / 60.0)
    }
}
