//! Seeded smooth noise: the texture of coronal rays, lunar seas, ridges and clouds.

/// A field of smooth noise; the same seed gives the same field.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grain(u32);

impl Grain {
    pub(super) fn new(seed: u64, layer: u32) -> Self {
        let folded = (seed ^ (seed >> 32)) as u32;
        Self(mixed(folded ^ layer.wrapping_mul(0x9E37_79B9)))
    }

    /// Value at a lattice point, -1 to 1.
    fn lattice(self, x: i32, y: i32) -> f32 {
        let h = mixed(
            self.0 ^ (x as u32).wrapping_mul(0x85EB_CA6B) ^ (y as u32).wrapping_mul(0xC2B2_AE35),
        );
        (h >> 8) as f32 / 8_388_608.0 - 1.0
    }

    /// Smooth noise along a line, -1 to 1, features one unit long.
    pub(super) fn line(self, x: f32) -> f32 {
        let (i, f) = split(x);
        let (a, b) = (self.lattice(i, 0), self.lattice(i.wrapping_add(1), 0));
        a + (b - a) * ease(f)
    }

    /// Smooth noise in the plane, -1 to 1, features one unit across.
    pub(super) fn plane(self, x: f32, y: f32) -> f32 {
        let ((i, fx), (j, fy)) = (split(x), split(y));
        let (i1, j1) = (i.wrapping_add(1), j.wrapping_add(1));
        let (tx, ty) = (ease(fx), ease(fy));
        let top = self.lattice(i, j) + (self.lattice(i1, j) - self.lattice(i, j)) * tx;
        let low = self.lattice(i, j1) + (self.lattice(i1, j1) - self.lattice(i, j1)) * tx;
        top + (low - top) * ty
    }

    /// Sum of octaves along a line, each twice as fine and `fall` times as strong; about -1 to 1.
    pub(super) fn lines(self, x: f32, octaves: u32, fall: f32) -> f32 {
        octave_sum(octaves, fall, |scale, n| {
            self.line(x * scale + 17.3 * n as f32)
        })
    }

    /// The same in the plane.
    pub(super) fn planes(self, x: f32, y: f32, octaves: u32, fall: f32) -> f32 {
        octave_sum(octaves, fall, |scale, n| {
            self.plane(x * scale + 17.3 * n as f32, y * scale - 9.1 * n as f32)
        })
    }
}

fn octave_sum(octaves: u32, fall: f32, part: impl Fn(f32, u32) -> f32) -> f32 {
    let (mut sum, mut weight, mut scale, mut total) = (0.0, 1.0, 1.0, 0.0);
    for n in 0..octaves {
        sum += weight * part(scale, n);
        total += weight;
        weight *= fall;
        scale *= 2.0;
    }
    sum / total
}

/// Whole and fractional part.
fn split(x: f32) -> (i32, f32) {
    let whole = x.floor();
    (whole as i32, x - whole)
}

/// Smooth step without a kink in the second derivative.
fn ease(t: f32) -> f32 {
    t * t * t * (t * (t * 6.0 - 15.0) + 10.0)
}

/// Smooth step from 0 at `from` to 1 at `to`.
pub(super) fn rise(from: f32, to: f32, x: f32) -> f32 {
    let t = ((x - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Integer mixing with good avalanche (Murmur3's finaliser, A. Appleby 2011).
fn mixed(mut h: u32) -> u32 {
    h ^= h >> 16;
    h = h.wrapping_mul(0x85EB_CA6B);
    h ^= h >> 13;
    h = h.wrapping_mul(0xC2B2_AE35);
    h ^ (h >> 16)
}
