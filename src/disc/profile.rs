//! Light across a limb: a limb-darkened disc, cut by the Moon, blurred.
//!
//! Near a limb the picture is taken as one-dimensional along its normal: `a` is the depth inside the Sun's limb, `b`
//! the depth inside the Moon's, both in pixels along the same normal. Light at depth `t` under the solar limb is
//! `I(t) = c0 + c1 mu + c2 sqrt(mu)` with `mu` the cosine of the angle from the disc's centre as seen from the Sun; the
//! part that is bare reaches from `t = 0` to `t = a - b`. Blurred with a Gaussian it is
//! `C(a, b) = integral from b to a of I(a - s) g(s) ds`, done in closed form on a piecewise linear `I`.

use super::gauss::share_and_density;

/// Knots of the piecewise linear law, in blur widths under the limb: set as squares, as `mu` grows with the root of
/// depth, with one more where its root rises.
const KNOTS: [f64; 12] = [
    0.0, 0.01, 0.0625, 0.25, 0.5625, 1.0, 2.25, 4.0, 6.25, 9.0, 12.25, 16.0,
];

/// Deeper than this many blur widths the limb is not felt.
const DEEP: f64 = 8.0;

/// Farther than this many blur widths from an edge there is nothing of it.
const FAR: f64 = 5.5;

/// The limb-darkening law near the limb, tabulated for one radius and about one blur.
#[derive(Clone, Debug)]
pub(super) struct Law {
    radius_px: f64,
    c: [f64; 3],
    depth: [f64; KNOTS.len()],
    mu: [f64; KNOTS.len()],
    root: [f64; KNOTS.len()],
    /// Over the distance to the next knot: 1, and the light's rise.
    per_width: [f64; KNOTS.len() - 1],
    slope: [f64; KNOTS.len() - 1],
}

/// The unblurred law at a depth.
struct Sharp {
    value: f64,
    /// Derivative by depth.
    slope: f64,
    mu: f64,
    /// Square root of `mu`.
    root: f64,
}

/// Light and its derivatives.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Light {
    /// Light, with 1 at the disc's centre when the law sums to 1.
    pub value: f64,
    /// The same for the three terms of the law by themselves.
    pub terms: [f64; 3],
    /// Derivative by `a`.
    pub by_a: f64,
    /// Derivative by `b`.
    pub by_b: f64,
    /// Derivative by the blur's sigma at fixed `a` and `b`.
    pub by_sigma: f64,
}

impl Light {
    /// Adds a share of another.
    pub(super) fn add(&mut self, share: f64, other: &Self) {
        self.value += share * other.value;
        for (term, more) in self.terms.iter_mut().zip(other.terms) {
            *term += share * more;
        }
        self.by_a += share * other.by_a;
        self.by_b += share * other.by_b;
        self.by_sigma += share * other.by_sigma;
    }
}

impl Law {
    /// A law `c0 + c1 mu + c2 sqrt(mu)` for a disc of this radius under a blur of about this sigma, in pixels.
    pub(super) fn new(radius_px: f64, sigma_px: f64, c: [f64; 3]) -> Self {
        let depth = KNOTS.map(|k| k * sigma_px);
        let mu = depth.map(|t| mu(t, radius_px));
        let root = mu.map(f64::sqrt);
        let per_width = std::array::from_fn(|k| 1.0 / (depth[k + 1] - depth[k]));
        let mut law = Self {
            radius_px,
            c,
            depth,
            mu,
            root,
            per_width,
            slope: [0.0; KNOTS.len() - 1],
        };
        law.slope = std::array::from_fn(|k| {
            let light = |k: usize| law.at_mu(law.mu[k], law.root[k]);
            (light(k + 1) - light(k)) * per_width[k]
        });
        law
    }

    fn at_mu(&self, mu: f64, root: f64) -> f64 {
        self.c[0] + self.c[1] * mu + self.c[2] * root
    }

    /// Light at depth `t`, unblurred, and its slope.
    fn sharp(&self, t: f64) -> Sharp {
        let m = mu(t, self.radius_px);
        let root = m.sqrt();
        let by_t = (1.0 - t / self.radius_px) / (self.radius_px * m.max(0.05));
        Sharp {
            value: self.at_mu(m, root),
            slope: (self.c[1] + 0.5 * self.c[2] / root.max(0.2)) * by_t,
            mu: m,
            root,
        }
    }

    /// Light `a` inside the Sun's limb and `b` inside the Moon's, under a blur of `sigma` pixels.
    pub(super) fn blurred(&self, a: f64, b: f64, sigma: f64) -> Light {
        if a <= b || a < -FAR * sigma || b > FAR * sigma {
            return Light::default();
        }
        if a > DEEP * sigma {
            self.deep(a, b, sigma)
        } else {
            self.near_limb(a, b, sigma)
        }
    }

    fn deep(&self, a: f64, b: f64, sigma: f64) -> Light {
        let Sharp {
            value,
            slope,
            mu,
            root,
        } = self.sharp(a);
        let zb = b / sigma;
        let (bare, edge) = share_and_density(-zb);
        Light {
            value: value * bare - slope * sigma * edge,
            terms: [bare, mu * bare, root * bare],
            by_a: slope * bare,
            by_b: -value * edge / sigma + slope * zb * edge,
            by_sigma: value * edge * zb / sigma - slope * edge * (1.0 + zb * zb),
        }
    }

    fn near_limb(&self, a: f64, b: f64, sigma: f64) -> Light {
        let bare = a - b;
        let per_sigma = 1.0 / sigma;
        // Share below a depth, and density there per pixel.
        let both = |s: f64| {
            let (share, density) = share_and_density(s * per_sigma);
            (share, density * per_sigma)
        };
        let variance = sigma * sigma;
        let mut out = Light::default();
        let (mut share, mut gk) = both(a);
        let i0 = self.c[0];
        out.by_a = i0 * gk;
        out.by_sigma = -i0 * a / variance * gk;
        for k in 0..KNOTS.len() - 1 {
            let from = self.depth[k];
            if from >= bare || a - from < -FAR * sigma {
                break;
            }
            let to = self.depth[k + 1].min(bare);
            let (m0, m1) = (self.mu[k], self.mu[k + 1]);
            let (r0, r1) = (self.root[k], self.root[k + 1]);
            let per_width = self.per_width[k];
            let (next, g_next) = both(a - to);
            let mass = share - next;
            let moment = (a - from) * mass - variance * (g_next - gk);
            let term = |v0: f64, v1: f64| v0 * mass + (v1 - v0) * per_width * moment;
            out.terms[0] += mass;
            out.terms[1] += term(m0, m1);
            out.terms[2] += term(r0, r1);
            let slope = self.slope[k];
            out.by_a += slope * mass;
            out.by_sigma += slope * (gk - g_next);
            (share, gk) = (next, g_next);
        }
        out.value = (0..3).map(|i| self.c[i] * out.terms[i]).sum();
        if bare < self.depth[KNOTS.len() - 1] {
            let end = self.sharp(bare).value;
            let gb = both(b).1;
            out.by_b = -end * gb;
            out.by_sigma += end * b / variance * gb;
        }
        out.by_sigma *= sigma;
        out
    }
}

/// Cosine of the angle from the disc's centre, at a depth under the limb.
fn mu(depth: f64, radius: f64) -> f64 {
    let r = (1.0 - depth / radius).clamp(0.0, 1.0);
    (1.0 - r * r).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The integral by plain summation.
    fn summed(law: &Law, a: f64, b: f64, sigma: f64) -> f64 {
        let n = 200_000;
        let (low, high) = (b.max(-8.0 * sigma), a.min(8.0 * sigma));
        if high <= low {
            return 0.0;
        }
        let h = (high - low) / n as f64;
        (0..n)
            .map(|i| {
                let s = low + (i as f64 + 0.5) * h;
                law.sharp(a - s).value * share_and_density(s / sigma).1 / sigma * h
            })
            .sum()
    }

    #[test]
    fn closed_form_agrees_with_plain_summation() {
        for sigma in [0.7, 2.0, 6.0] {
            let law = Law::new(150.0, sigma, [0.33, 0.9, -0.23]);
            for a in [-1.0, 0.0, 0.6, 3.0, 9.0] {
                for b in [-50.0, -2.0, 0.3, 2.0] {
                    let (a, b) = (a * sigma, b * sigma);
                    let (ours, plain) = (law.blurred(a, b, sigma).value, summed(&law, a, b, sigma));
                    assert!(
                        (ours - plain).abs() < 4e-3,
                        "{sigma} {a} {b}: {ours} {plain}"
                    );
                }
            }
        }
    }

    #[test]
    fn derivatives_agree_with_differences() {
        let sigma = 1.5;
        let law = Law::new(150.0, sigma, [0.33, 0.9, -0.23]);
        let h = 1e-5;
        for a in [-1.0, 0.4, 2.0, 20.0] {
            for b in [-40.0, -1.5, 0.1] {
                if a <= b {
                    continue;
                }
                let here = law.blurred(a, b, sigma);
                let by = |p: Light, m: Light| (p.value - m.value) / (2.0 * h);
                let by_a = by(law.blurred(a + h, b, sigma), law.blurred(a - h, b, sigma));
                let by_b = by(law.blurred(a, b + h, sigma), law.blurred(a, b - h, sigma));
                let by_s = by(law.blurred(a, b, sigma + h), law.blurred(a, b, sigma - h));
                assert!((here.by_a - by_a).abs() < 4e-3, "{a} {b}: {here:?} {by_a}");
                assert!((here.by_b - by_b).abs() < 4e-3, "{a} {b}: {here:?} {by_b}");
                assert!(
                    (here.by_sigma - by_s).abs() < 4e-3,
                    "{a} {b}: {here:?} {by_s}"
                );
            }
        }
    }
}
