//! Where one phase ends and the next begins.

use crate::domain::{ContactEvent, ContactKind, Contacts, LocalKind, Phase, Utc};

/// Widths of the phases around second and third contact, in seconds; negative or non-finite widths count as zero.
///
/// Windows are closed at both ends. Where the two meet inside a short central phase, second contact ends and third
/// begins at mid-phase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PhaseWindows {
    /// Total eclipse: from this long before C2.
    pub before_c2_s: f64,
    /// Total eclipse: to this long after C2.
    pub after_c2_s: f64,
    /// Total eclipse: from this long before C3.
    pub before_c3_s: f64,
    /// Total eclipse: to this long after C3.
    pub after_c3_s: f64,
    /// Annular eclipse: this long to either side of C2 and of C3.
    pub annular_s: f64,
}

impl Default for PhaseWindows {
    /// C2 - 20 s to C2 + 5 s, C3 - 5 s to C3 + 20 s, and 15 s to either side in an annular eclipse (common practice:
    /// beads and ring, with time to spare).
    fn default() -> Self {
        Self {
            before_c2_s: 20.0,
            after_c2_s: 5.0,
            before_c3_s: 5.0,
            after_c3_s: 20.0,
            annular_s: 15.0,
        }
    }
}

impl PhaseWindows {
    /// The phase at an instant of the day of the eclipse.
    ///
    /// Where the Moon misses the Sun there is only before and after the least separation.
    pub(super) fn phase(&self, utc: Utc, contacts: &Contacts) -> Phase {
        let since = |event: &ContactEvent| utc.seconds_since(event.utc);
        if contacts.kind == LocalKind::None {
            return if since(&contacts.maximum) < 0.0 {
                Phase::Before
            } else {
                Phase::After
            };
        }
        if since(&contacts.c1) < 0.0 {
            Phase::Before
        } else if since(&contacts.c4) > 0.0 {
            Phase::After
        } else {
            self.central(utc, contacts)
                .unwrap_or_else(|| half(since(&contacts.maximum)))
        }
    }

    /// The phase between the start of the window of C2 and the end of that of C3; `None` outside.
    fn central(&self, utc: Utc, contacts: &Contacts) -> Option<Phase> {
        let since_c2_s = utc.seconds_since(contacts.c2.as_ref()?.utc);
        let since_c3_s = utc.seconds_since(contacts.c3.as_ref()?.utc);
        let [before_c2_s, after_c2_s, before_c3_s, after_c3_s] = self.widths_s(contacts.kind);
        if since_c2_s < -before_c2_s || since_c3_s > after_c3_s {
            return None;
        }
        let in_second = since_c2_s <= after_c2_s;
        let in_third = since_c3_s >= -before_c3_s;
        Some(match (in_second, in_third) {
            (true, true) if since_c2_s + since_c3_s < 0.0 => Phase::SecondContact,
            (_, true) => Phase::ThirdContact,
            (true, false) => Phase::SecondContact,
            (false, false) if contacts.kind == LocalKind::Annular => Phase::Annularity,
            (false, false) => Phase::Totality,
        })
    }

    /// Where phases change about a contact, in seconds after it: the contact itself and the edges of its window.
    pub(super) fn edges_s(&self, contact: ContactKind, kind: LocalKind) -> [f64; 3] {
        let [before_c2_s, after_c2_s, before_c3_s, after_c3_s] = self.widths_s(kind);
        match contact {
            ContactKind::C2 => [-before_c2_s, 0.0, after_c2_s],
            ContactKind::C3 => [-before_c3_s, 0.0, after_c3_s],
            ContactKind::C1 | ContactKind::Maximum | ContactKind::C4 => [0.0; 3],
        }
    }

    fn widths_s(&self, kind: LocalKind) -> [f64; 4] {
        let widths_s = if kind == LocalKind::Annular {
            [self.annular_s; 4]
        } else {
            [
                self.before_c2_s,
                self.after_c2_s,
                self.before_c3_s,
                self.after_c3_s,
            ]
        };
        widths_s.map(|s| if s.is_finite() { s.max(0.0) } else { 0.0 })
    }
}

/// Ingress before maximum, egress from it on.
fn half(since_maximum_s: f64) -> Phase {
    if since_maximum_s < 0.0 {
        Phase::Ingress
    } else {
        Phase::Egress
    }
}
