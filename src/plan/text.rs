//! The sheet as plain text, 80 columns or so.

use std::fmt::Write as _;

use super::course::Sight;
use super::planets::TOTALITY_LIMIT_MAG;
use super::sheet::{Sheet, TotalityStep};
use super::stars::StarPlace;
use super::times::{about, covered};
use crate::domain::{ContactKind, LocalKind, dial_mark, dial_mark_within};

/// Columns the cautions and notes are wrapped at.
const COLUMNS: usize = 80;

/// So many stars of the frame are told by name.
const STARS_TOLD: usize = 8;

impl Sheet {
    /// What the eclipse is here, in a few words: "total here, 2 min 24.3 s".
    pub fn headline(&self) -> String {
        if self.never_up() {
            return format!(
                "{} of the area covered at the most, but the Sun is down throughout: not to be seen here",
                covered(self.obscuration)
            );
        }
        let kind = match self.kind {
            LocalKind::Total if !self.totality_seen => "total here, but the Sun is down",
            LocalKind::Total => "total here",
            LocalKind::Annular => "annular here",
            LocalKind::Partial | LocalKind::None => "partial here",
        };
        match self.central_duration_s {
            Some(s) => format!("{kind}, {}", minutes(s)),
            None => format!("{kind}, {}", self.covered_words()),
        }
    }

    /// How much is covered at the most while the Sun is up.
    fn covered_words(&self) -> String {
        let most = covered(self.most_covered.unwrap_or(self.obscuration));
        match self
            .contacts
            .iter()
            .find(|c| c.contact == ContactKind::Maximum)
        {
            Some(maximum) if !maximum.sun_up => {
                let rises = self.crossings.iter().any(|c| c.rising);
                let when = if rises {
                    "when the Sun rises"
                } else {
                    "when the Sun sets"
                };
                format!("{most} of the area covered at the most, {when}")
            }
            _ => format!("{most} of the area covered"),
        }
    }

    /// Whether the Sun is below the horizon from first contact to last: there is nothing to shoot.
    pub(super) fn never_up(&self) -> bool {
        self.partials.is_empty() && self.contacts.iter().all(|c| !c.sun_up)
    }

    /// The sheet as plain text, ending in a newline.
    pub fn text(&self) -> String {
        let mut out = String::new();
        self.write_text(&mut out)
            .expect("writing to a string cannot fail");
        out
    }

    /// The sheet as JSON, ending in a newline; units stand in the names, times are UTC unless named local.
    pub fn json(&self) -> String {
        let mut text = serde_json::to_string_pretty(self).expect("a sheet has only string keys");
        text.push('\n');
        text
    }

    fn write_text(&self, out: &mut String) -> std::fmt::Result {
        writeln!(
            out,
            "SHOOTING SHEET  eclipse of {}, {}",
            self.eclipse_date,
            self.headline()
        )?;
        writeln!(out, "{}", self.place_line())?;
        writeln!(out, "{}", self.gear_line())?;
        if let Some(path) = &self.near_path {
            wrapped(out, &path.words())?;
        }
        heading(out, "SAFETY")?;
        for words in &self.safety {
            wrapped(out, words)?;
        }
        for words in &self.warnings {
            wrapped(out, &format!("WARNING {words}"))?;
        }
        self.write_contacts(out)?;
        if self.never_up() {
            return Ok(());
        }
        self.write_countdowns(out)?;
        self.write_totality(out)?;
        self.write_limb_lights(out)?;
        self.write_settings(out)?;
        self.write_brackets(out)?;
        self.write_partials(out)?;
        self.write_frame(out)?;
        self.write_rest(out)
    }

    /// Place, zone and date in one line.
    pub(super) fn place_line(&self) -> String {
        let site = &self.site;
        format!(
            "{:.4}, {:.4}, {:.0} m   {}   local times {}",
            site.lat_deg, site.lon_deg, site.elev_m, self.local_date, self.zone
        )
    }

    /// The gear in one line.
    pub(super) fn gear_line(&self) -> String {
        let g = &self.gear;
        let s = &g.sensor;
        format!(
            "{} mm  f/{}  ISO {}  filter {} stops  sensor {} x {} mm, {:.1} megapixels",
            if g.focal_mm < 100.0 {
                rounded(g.focal_mm)
            } else {
                g.focal_mm.round()
            },
            g.f_number,
            g.iso,
            (g.filter_stops * 10.0).round() / 10.0,
            rounded(s.width_mm),
            rounded(s.height_mm),
            s.megapixels()
        )
    }

    fn write_contacts(&self, out: &mut String) -> std::fmt::Result {
        heading(out, "CONTACTS")?;
        writeln!(
            out,
            "           local      UTC            +-     altitude       fists  azimuth"
        )?;
        for c in &self.contacts {
            let utc = c.utc.to_string();
            let clock = utc.get(11..21).unwrap_or(&utc);
            let down = match c.sight {
                _ if !c.sun_up => "  Sun down",
                Some(Sight::Hidden) => "  behind the horizon",
                Some(Sight::Cut) => "  cut by the horizon",
                _ => "",
            };
            writeln!(
                out,
                "{:<9}  {}   {clock}  {:>5.1} s  {:>6.1} deg  {:>10.1}  {:>5.0} {}{down}",
                capital(c.contact.word()),
                c.local,
                c.sigma_s,
                c.sun_alt_deg,
                c.fists,
                c.sun_az_deg,
                c.compass
            )?;
        }
        wrapped(out, SIGMA_WORDS)?;
        writeln!(out)?;
        self.horizon.iter().try_for_each(|line| wrapped(out, line))
    }

    fn write_countdowns(&self, out: &mut String) -> std::fmt::Result {
        heading(out, "COUNTDOWN")?;
        for block in &self.countdowns {
            writeln!(out, "{}", capital(block.contact.word()))?;
            for line in &block.lines {
                writeln!(
                    out,
                    "  {:>8}  {}  {}{}",
                    signed_minutes(line.from_contact_s),
                    line.local,
                    line.action,
                    behind(line.behind_horizon)
                )?;
            }
        }
        Ok(())
    }

    fn write_totality(&self, out: &mut String) -> std::fmt::Result {
        heading(out, "FILTER")?;
        for line in self.filter_lines() {
            wrapped(out, &line)?;
        }
        if let Some(plan) = &self.totality {
            heading(out, "TOTALITY")?;
            write_steps(out, &plan.steps)?;
        }
        if let Some(plan) = &self.ring {
            heading(out, "ANNULARITY, FILTER ON THROUGHOUT")?;
            writeln!(out, "{}", plan.shutter_words())?;
            write_steps(out, &plan.steps)?;
        }
        Ok(())
    }

    fn write_limb_lights(&self, out: &mut String) -> std::fmt::Result {
        if self.limb_lights.is_empty() {
            return Ok(());
        }
        heading(out, &self.limb_light_heading().to_uppercase())?;
        for line in &self.limb_lights {
            wrapped(out, &line.words())?;
        }
        wrapped(out, &self.limb_light_note())
    }

    /// What the places on the limb are.
    pub(super) fn limb_light_heading(&self) -> &'static str {
        if self.kind == LocalKind::Annular {
            "Where the ring closes and breaks"
        } else {
            "Where the diamond stands"
        }
    }

    /// How the places on the limb are to be read.
    pub(super) fn limb_light_note(&self) -> String {
        let filter = if self.kind == LocalKind::Annular {
            " The filter stays on."
        } else {
            ""
        };
        let doubt = if self.near_limit {
            " So near the limit of the path a few hundred metres move these places along the limb."
        } else {
            ""
        };
        format!(
            "As on a clock face, by the Moon's own mountains: with the zenith up on a level tripod; with the celestial pole up on a mount \
             that turns about it, the camera square to the mount. A mirror or a star diagonal shows it the other way round. V counts from the zenith, P from celestial north, both anticlockwise in \
             degrees.{filter}{doubt}"
        )
    }

    /// What is said of the lens's filter and of eyes.
    pub(super) fn filter_lines(&self) -> Vec<String> {
        let Some(filter) = &self.filter else {
            return vec![if self.filter_withheld {
                "No times are given: see the warning. Filters stay on, lens and eyes, until the last bead is plainly gone, and go back at \
                 the first light; where any doubt is left they stay on throughout."
                    .to_owned()
            } else {
                "The filter stays on the lens from first contact to last.".to_owned()
            }];
        };
        let early_s = self.gear.filter_off_s;
        let mut lines = if early_s > 0.0 {
            vec![
                format!(
                    "Lens: off {}, {early_s} s before C2; on {}, {early_s} s after C3: your choice.",
                    filter.off_local, filter.on_local
                ),
                format!(
                    "It gains about {} frames of beads and ring. It risks the sensor and the shutter, which the uncovered Sun heats through the \
                     lens: keep it to these seconds. Never an eye at an optical finder then; frame by the screen.",
                    filter.ring_frames
                ),
            ]
        } else {
            vec![
                format!(
                    "Lens: off {} (C2, and not before the last bead is gone)",
                    filter.off_local
                ),
                format!(
                    "Lens: on {} (C3, or the first bead if that comes sooner; have it in hand before)",
                    filter.on_local
                ),
                RING_WORDS.to_owned(),
            ]
        };
        lines.push(EYES_WORDS.to_owned());
        lines
    }

    /// Which height of the Sun the settings are for.
    pub(super) fn settings_heading(&self) -> String {
        format!(
            "Settings, for the Sun's height at {}",
            self.settings_at.word()
        )
    }

    fn write_settings(&self, out: &mut String) -> std::fmt::Result {
        heading(out, &self.settings_heading().to_uppercase())?;
        writeln!(out, "  {:<38} {:>11} {:>11}", "", "clear air", "haze")?;
        for s in &self.settings {
            let filter = if s.filter { "filter on" } else { "no filter" };
            let drift = if s.drift_px >= 0.5 {
                format!("  drifts {:.0} px", s.drift_px)
            } else {
                String::new()
            };
            writeln!(
                out,
                "  {:<38} {:>11} {:>11}  {filter}{drift}",
                s.feature, s.shutter, s.hazy_shutter
            )?;
        }
        Ok(())
    }

    fn write_brackets(&self, out: &mut String) -> std::fmt::Result {
        let Some(brackets) = &self.brackets else {
            return Ok(());
        };
        heading(out, "BRACKET")?;
        writeln!(
            out,
            "From the beads to the corona 4 solar radii off the limb: {} stops.",
            brackets.range_stops
        )?;
        let chosen = &brackets.chosen;
        wrapped(out, &format!("Use {}.", chosen.words()))?;
        for (n, set) in chosen
            .exposures_s
            .chunks(chosen.frames as usize)
            .enumerate()
        {
            let marks: Vec<_> = set
                .iter()
                .map(|s| dial_mark(*s).trim_end_matches(" s").to_owned())
                .collect();
            writeln!(out, "  set {}: {} s", n + 1, marks.join("  "))?;
        }
        writeln!(out, "Others:")?;
        for other in brackets.weighed.iter().filter(|w| *w != chosen) {
            writeln!(out, "  {}", other.words())?;
        }
        Ok(())
    }

    fn write_partials(&self, out: &mut String) -> std::fmt::Result {
        heading(
            out,
            "PARTIALS, EVERY FIVE MINUTES (a minute either way does no harm)",
        )?;
        writeln!(
            out,
            "  local     altitude  azimuth    covered  shutter in clear air, filter on; in haze"
        )?;
        for p in &self.partials {
            writeln!(
                out,
                "  {}  {:>5.1} deg  {:>3.0} {:<3}  {:>8}   {:<20}  {}{}",
                p.local,
                p.sun_alt_deg,
                p.sun_az_deg,
                p.compass,
                covered(p.obscuration),
                p.shutter_words(),
                p.haze_words(),
                behind(p.behind_horizon)
            )?;
        }
        Ok(())
    }

    fn write_frame(&self, out: &mut String) -> std::fmt::Result {
        heading(out, "THE SUN IN THE FRAME")?;
        self.frame_lines()
            .iter()
            .try_for_each(|line| wrapped(out, line))
    }

    /// Sentences on size and drift.
    pub(super) fn frame_lines(&self) -> Vec<String> {
        let f = &self.framing;
        let mut lines = vec![format!(
            "Disc {:.0} pixels across, {:.0} % of the short side; frame {:.2} by {:.2} degrees; the edge is \
                 {:.1} solar radii from the centre.",
            f.disc_px,
            f.disc_share * 100.0,
            f.frame_width_deg,
            f.frame_height_deg,
            f.radii_to_edge
        )];
        if self.gear.tracked {
            lines.push(
                "The mount follows the Sun: check the aim at every partial all the same."
                    .to_owned(),
            );
            return lines;
        }
        if let (Some(limb_s), Some(short_s), Some(reaim_s)) =
            (f.limb_at_edge_s, f.limb_at_short_edge_s, f.reaim_s)
        {
            lines.push(format!(
                "On a fixed, level tripod it drifts {} at {:.1} seconds of arc a second. From the middle of \
                     the frame the limb touches the edge after {}, half the Sun is gone after {}. If the \
                     frame is tilted it may take only {}: aim again every {}.",
                drift_words(f.drift_right, f.drift_up),
                f.drift_arcsec_s,
                about(limb_s),
                about(f.centre_at_edge_s),
                about(short_s),
                about(reaim_s)
            ));
            lines.push(format!(
                "Put the Sun on the {} side of the middle and let it drift through.",
                opposite_words(f.drift_right, f.drift_up)
            ));
        }
        lines.push(format!(
            "Drift stays under one pixel up to {:.3} s ({}), under three up to {:.2} s.",
            f.one_px_blur_s,
            dial_mark_within(f.one_px_blur_s),
            3.0 * f.one_px_blur_s
        ));
        lines
    }

    fn write_rest(&self, out: &mut String) -> std::fmt::Result {
        if self.totality_seen {
            heading(out, "PLANETS IN TOTALITY")?;
            for p in &self.planets {
                writeln!(
                    out,
                    "  {:<8} magnitude {:>4.1}  {:>3.0} deg up  azimuth {:>3.0} {:<3}  {:>3.0} deg from the \
                         Sun{}",
                    p.name,
                    p.magnitude,
                    p.alt_deg,
                    p.az_deg,
                    super::compass_point(p.az_deg),
                    p.from_sun_deg,
                    if p.by_eye {
                        ""
                    } else {
                        "  too faint for the eye"
                    }
                )?;
            }
            wrapped(out, &self.planet_words())?;
        }
        heading(out, "CARD AND BATTERY")?;
        wrapped(out, &self.card_line())?;
        if !self.practice_words.is_empty() {
            heading(out, "FROM YOUR PRACTICE FRAMES")?;
            let mut lines = self.practice_words.iter();
            lines.try_for_each(|line| wrapped(out, line))?;
        }
        heading(out, "NOTES")?;
        self.notes.iter().try_for_each(|line| wrapped(out, line))?;
        heading(out, "SOURCES")?;
        self.sources.iter().try_for_each(|line| wrapped(out, line))
    }

    /// Which planets stand in the frame, and how faint ones show.
    pub(super) fn planet_words(&self) -> String {
        if self.planets.is_empty() {
            return "None stands a degree or more above the horizon.".to_owned();
        }
        let framed: Vec<String> = self
            .planets
            .iter()
            .filter_map(|p| {
                let (right, up) = p.in_frame_deg?;
                let side = if right < 0.0 { "left" } else { "right" };
                let height = if up < 0.0 { "below" } else { "above" };
                Some(format!(
                    "{} stands {:.1} degrees to the {side} of the Sun and {:.1} {height} it",
                    p.name,
                    right.abs(),
                    up.abs()
                ))
            })
            .collect();
        let framed = if framed.is_empty() {
            "None stands in a level frame with the Sun in the middle.".to_owned()
        } else {
            format!(
                "In a level frame with the Sun in the middle: {}.",
                framed.join("; ")
            )
        };
        let stars = self.star_words();
        format!(
            "{framed}{stars} The sky of totality is about as dark as half an hour after sunset: in clear air an eye finds what is brighter than \
             magnitude {TOTALITY_LIMIT_MAG}."
        )
    }

    /// Which bright stars stand in the frame; a sentence with a space before it, or nothing.
    fn star_words(&self) -> String {
        let shown: Vec<String> = self.stars.iter().take(STARS_TOLD).map(star_words).collect();
        let more = match self.stars.len().saturating_sub(STARS_TOLD) {
            0 => String::new(),
            more => format!(" and {more} fainter"),
        };
        match shown.is_empty() {
            true => String::new(),
            false => format!(" Stars in it, brightest first: {}{more}.", shown.join(", ")),
        }
    }

    /// Card and battery in a sentence.
    pub(super) fn card_line(&self) -> String {
        let c = &self.card;
        format!(
            "About {} frames, {:.1} GB as raw and JPEG: bring an empty card of twice that. {:.1} hours with \
                 the screen on: {} charged {}; change before {}, never in the last ten minutes.",
            c.frames,
            c.gigabytes,
            c.hours,
            c.batteries,
            if c.batteries == 1 {
                "battery"
            } else {
                "batteries"
            },
            if self.contacts.iter().any(|c| c.contact == ContactKind::C2) {
                "C2"
            } else {
                "maximum"
            }
        )
    }
}

/// What the uncertainty of a contact is.
pub(super) const SIGMA_WORDS: &str = "+- is one sigma: two times in three the true moment lies within it, nearly always within three times as \
     much.";

/// What is said of the ring.
pub(super) const RING_WORDS: &str = "Beads and ring also show in the seconds before C2 and after C3. That \
     is sunlight: an uncovered lens then risks the sensor and any eye near a finder. The moments above stay \
     inside totality.";

/// What is said of eyes, wherever the lens's filter is spoken of.
pub(super) const EYES_WORDS: &str =
    "Eyes: filters on until the last bead is gone, and back before the first.";

/// The words with a capital first.
pub(super) fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// What is added to a moment at which the measured horizon hides the Sun.
pub(super) fn behind(hidden: bool) -> &'static str {
    if hidden { " (behind the horizon)" } else { "" }
}

/// Stretches of the central phase, one a line.
fn write_steps(out: &mut String, steps: &[TotalityStep]) -> std::fmt::Result {
    for step in steps {
        writeln!(
            out,
            "  {:>+6.1} s  {:<8}  {}{}",
            step.from_c2_s,
            step.local,
            step.action,
            behind(step.behind_horizon)
        )?;
    }
    Ok(())
}

impl super::RingPlan {
    /// "Shutter 1/640 s; the ring is all limb and darker: up to 1/160 s".
    pub fn shutter_words(&self) -> String {
        format!(
            "Shutter {}, filter on; the ring is all limb and darker than the disc: try up to {}.",
            self.shutter, self.longest_shutter
        )
    }
}

impl super::BracketChoice {
    /// "1 set of 7 frames, 2 stops apart, 1/2500 s to 1.6 s, 4.9 s in all".
    pub fn words(&self) -> String {
        let shortest = self
            .exposures_s
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        let longest = self.exposures_s.iter().copied().fold(0.0, f64::max);
        format!(
            "{} {} of {} frames, {} {} apart, {} to {}, {:.1} s in all",
            self.sets,
            if self.sets == 1 { "set" } else { "sets" },
            self.frames,
            rounded(self.step_stops),
            if self.step_stops > 1.0 {
                "stops"
            } else {
                "stop"
            },
            dial_mark(shortest),
            dial_mark(longest),
            self.takes_s
        )
    }
}

fn heading(out: &mut String, words: &str) -> std::fmt::Result {
    writeln!(out, "\n{words}")
}

/// Writes words broken at [`COLUMNS`].
fn wrapped(out: &mut String, words: &str) -> std::fmt::Result {
    let mut column = 0;
    for word in words.split(' ') {
        let length = word.chars().count();
        if column > 0 && column + 1 + length > COLUMNS {
            out.push('\n');
            column = 0;
        }
        if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    writeln!(out)
}

/// A number with two decimals at most.
pub(super) fn rounded(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// "2 min 24.3 s", "45.0 s".
pub(super) fn minutes(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round();
    let (whole, rest) = ((tenths / 600.0).floor(), (tenths % 600.0) / 10.0);
    if whole > 0.0 {
        format!("{whole:.0} min {rest:.1} s")
    } else {
        format!("{rest:.1} s")
    }
}

/// "-10:00", "0:00", "+5:00".
pub(super) fn signed_minutes(seconds: f64) -> String {
    let whole = seconds.abs().round() as u64;
    let sign = if seconds < 0.0 {
        "-"
    } else if whole > 0 {
        "+"
    } else {
        ""
    };
    format!("{sign}{}:{:02}", whole / 60, whole % 60)
}

/// "right and down".
pub(super) fn drift_words(right: f64, up: f64) -> String {
    /// Below this share a direction is not worth a word.
    const WORTH: f64 = 0.26;
    let side = if right > 0.0 { "right" } else { "left" };
    let height = if up > 0.0 { "up" } else { "down" };
    match (right.abs() > WORTH, up.abs() > WORTH) {
        (true, true) => format!("{side} and {height}"),
        (true, false) => side.to_owned(),
        _ => height.to_owned(),
    }
}

/// Where to put the Sun so it drifts through the middle: "upper left".
/// A star by its name and where it stands from the Sun.
fn star_words(star: &StarPlace) -> String {
    let (right, up) = star.in_frame_deg.unwrap_or_default();
    let side = if right < 0.0 { "left" } else { "right" };
    let height = if up < 0.0 { "down" } else { "up" };
    format!(
        "{} ({:.1}; {:.1}° {side}, {:.1}° {height})",
        star.name,
        star.magnitude,
        right.abs(),
        up.abs()
    )
}

fn opposite_words(right: f64, up: f64) -> &'static str {
    match drift_words(right, up).as_str() {
        "right" => "left",
        "left" => "right",
        "up" => "lower",
        "down" => "upper",
        "right and up" => "lower left",
        "left and up" => "lower right",
        "right and down" => "upper left",
        _ => "upper right",
    }
}
