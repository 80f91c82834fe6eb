//! Suns cut by something in front: the edge of an eyepiece's field, a roof, a tree.

use super::sky::bare;
use crate::catalogue::ShotRecord;
use crate::domain::{Flag, Limb, Phase};

/// So much less of the disc is lit than the Moon leaves bare, as a share of the disc and of what it leaves.
const MISSING: f64 = 0.1;
const MISSING_OF_BARE: f64 = 0.2;

/// Least that the Moon leaves bare to tell by: of less a small error of time makes much.
const LEAST_BARE: f64 = 0.2;

/// A time less sure than this, in seconds, does not say how much should be bare.
const SURE_S: f64 = 60.0;

/// What is left of a Sun cut by something in front is nearly as even as a clear one, with a dark neighbourhood: of cloud thick enough to hide
/// a part, neither holds (drawn: 0.03 to 0.06 against 0.17 and more; light about the disc 0.001 against 0.08 and more).
const STILL_EVEN: f64 = 0.1;
const STILL_DARK: f64 = 0.03;

/// Flags Suns of a lens that show less than the Moon leaves of them; cloud has a say first, but where it cannot be cloud.
pub(super) fn told(shots: &mut [ShotRecord], group: &[usize]) {
    for &i in group {
        if shows_too_little(&shots[i]) {
            shots[i].flags.set(Flag::Cut);
            shots[i].flags.clear(Flag::Clouded);
        }
    }
}

fn shows_too_little(record: &ShotRecord) -> bool {
    let sure = record.utc_sigma_s.is_some_and(|sigma| sigma < SURE_S);
    let other = matches!(
        record.phase,
        Phase::Totality | Phase::Unrelated | Phase::Untimed
    );
    let sun = record.disc.is_some_and(|fit| fit.limb == Limb::Sun);
    let known = record
        .look
        .and_then(|look| look.disc)
        .zip(record.predicted.and_then(|sky| bare(&sky)));
    if !sure || other || !sun {
        return false;
    }
    known.is_some_and(|(look, bare)| {
        let even = look.uneven.is_some_and(|v| v < STILL_EVEN) && look.halo < STILL_DARK;
        if record.flags.has(Flag::Clouded) && !even {
            return false;
        }
        let missing = bare.share - look.lit;
        bare.share > LEAST_BARE && missing > MISSING.max(MISSING_OF_BARE * bare.share)
    })
}
