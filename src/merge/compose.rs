//! The two stacks made one, and the account of it.

use super::carried;
use super::job::Job;
use super::light::LEAST_GOOD;
use super::place::Placement;
use super::second_pass::{Pair, Ready, Stacked, set_moon};
use super::stack::Grid;
use super::survey::Survey;
use super::{FrameReport, MergeInput, Merged};
use crate::domain::{Circle, Notice, true_stops};

impl Ready<'_> {
    /// Sets the Moon's disc in place and puts the result together.
    pub(super) fn compose(&self, stacked: Stacked, inputs: &[MergeInput]) -> Merged {
        let Stacked {
            pair,
            hot,
            lost,
            rounding,
        } = stacked;
        let Pair { sun, moon, .. } = pair;
        let face_agreement = carried::face_agreement(&moon, &self.canvas.moon);
        let [one, other] = moon;
        let moon = one.joined(&other);
        let limb = sun.cut_out(self.canvas.limb_area());
        let moon_light = moon.cut_out(self.canvas.moon_area());
        let (mut radiance, weight) = sun.into_parts();
        let bounds = Grid::of(radiance.width(), &weight, |w| w > 0.0 && w < LEAST_GOOD);
        set_moon(&mut radiance, &weight, &moon, self.canvas);
        let (width, height) = (radiance.width(), radiance.height());
        Merged {
            radiance,
            sun: self.canvas.sun,
            moon: self.canvas.moon,
            north_deg: self
                .job
                .inputs
                .iter()
                .any(|i| i.north_deg.is_some())
                .then_some(self.job.sky.north_deg),
            mirrored: self.job.sky.mirrored,
            instant: self.job.indices[self.job.reference],
            unit_stops: self.unit_stops(),
            response: self.photometry.response,
            black: self.photometry.black,
            limb,
            moon_light,
            face_agreement,
            frames: self.reports(inputs, &hot, &lost),
            notices: self.left_out(&lost),
            size: [width, height],
            placements: self.placements(inputs.len()),
            bounds,
            hot: self.hot.clone(),
            rounding,
        }
    }

    /// A notice for every frame left out.
    fn left_out(&self, lost: &[(usize, String)]) -> Vec<Notice> {
        let names = &self.job.inputs;
        let say = |i: usize, why: &str| {
            Notice::look(format!("left out of the corona: {why}")).about(&names[i].name)
        };
        let lost = lost.iter().map(|(i, why)| say(*i, why));
        let odd = self.photometry.odd.iter().enumerate();
        let odd = odd
            .filter(|(i, _)| !self.used.contains(i))
            .filter_map(|(i, why)| Some(say(i, why.as_ref()?)));
        lost.chain(odd).collect()
    }

    /// From the canvas to each input by the Sun; `None` where an input was not used.
    fn placements(&self, inputs: usize) -> Vec<Option<Placement>> {
        let mut out = vec![None; inputs];
        for &i in self.used {
            out[self.job.indices[i]] = Some(self.by_sun(i));
        }
        out
    }

    fn reports(
        &self,
        inputs: &[MergeInput],
        hot: &[usize],
        lost: &[(usize, String)],
    ) -> Vec<FrameReport> {
        (0..inputs.len())
            .map(
                |index| match self.job.indices.iter().position(|&i| i == index) {
                    Some(i) => {
                        let trouble = lost.iter().find(|(k, _)| *k == i).map(|(_, t)| t.clone());
                        self.report(i, hot[i], trouble)
                    }
                    None => no_disc_report(&inputs[index]),
                },
            )
            .collect()
    }

    fn report(&self, i: usize, hot_pixels: usize, lost: Option<String>) -> FrameReport {
        let (input, placed) = (self.job.inputs[i], &self.places[i]);
        let [dx, dy] = placed.shift_px;
        let left_out = if self.used.contains(&i) {
            lost
        } else {
            self.photometry.odd[i].clone()
        };
        FrameReport {
            name: input.name.clone(),
            left_out,
            header_stops: self.job.stops[i],
            stops: self.photometry.stops[i],
            shift_px: placed.shift_px,
            corona_shift_px: placed.corona.map(|c| c.0),
            corona_sigma_px: placed.corona.map(|c| c.1),
            sigma_px: placed.sigma_px,
            turn_deg: -placed.turn_rad.to_degrees(),
            sun: Circle {
                x_px: input.sun.x_px + dx,
                y_px: input.sun.y_px + dy,
                ..input.sun
            },
            moon: self.moon_in(i),
            hot_pixels,
        }
    }
}

fn no_disc_report(input: &MergeInput) -> FrameReport {
    FrameReport {
        name: input.name.clone(),
        left_out: Some("its Sun or Moon is not usable".into()),
        header_stops: true_stops(&input.exposure),
        stops: true_stops(&input.exposure).unwrap_or(0.0),
        shift_px: [0.0; 2],
        corona_shift_px: None,
        corona_sigma_px: None,
        sigma_px: 0.0,
        turn_deg: 0.0,
        sun: input.sun,
        moon: input.moon,
        hot_pixels: 0,
    }
}

/// What the merge as a whole could not do.
pub(super) fn advice(job: &Job, surveys: &[Result<Survey, String>], used: &[usize]) -> Vec<Notice> {
    let stops: Vec<f64> = used.iter().filter_map(|&i| job.stops[i]).collect();
    let most = stops.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = stops.iter().copied().fold(f64::INFINITY, f64::min);
    let mut out = Vec::new();
    if used.len() == 1 {
        out.push(Notice::note(
            "the corona comes from one frame: nothing to merge it with, so its clipped parts stay clipped",
        ));
    } else if stops.is_empty() {
        out.push(Notice::note(
            "no frame of totality has an exposure time: the exposures were worked out from the pictures alone",
        ));
    } else if most - least < 0.5 {
        out.push(Notice::note(format!(
            "all {} frames of the corona have one exposure: they were averaged, without more range from dark to bright",
            used.len()
        )));
    }
    out.extend(still_clipped(surveys, used));
    out
}

/// Says so when even the shortest exposure is clipped.
fn still_clipped(surveys: &[Result<Survey, String>], used: &[usize]) -> Option<Notice> {
    /// Clipped part of the field within 4.5 radii that is worth a word: a few prominences are not.
    const WORTH_SAYING: f64 = 0.005;
    let shortest = surveys[*used.last()?].as_ref().ok()?;
    (shortest.clipped > WORTH_SAYING).then(|| {
        Notice::note(format!(
            "even the shortest exposure is clipped over {:.1} % of the field around the Sun; the corona there is at least as bright as shown",
            100.0 * shortest.clipped
        ))
    })
}
