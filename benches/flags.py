#!/usr/bin/env python3
"""Flags on drawn cards: precision and recall.

    flags.py PROGRAM [--cards a,b] [--keep FOLDER] [--seed N] [--missed]

Draws whole cards of small photographs (limb-darkened Sun, Moon, corona, chromosphere, thin and thick cloud, haze, saturation,
coloured and haloed filters, shake, defocus, an eyepiece's rim, covers and filters left on, ghosts, wide views), each with the
flags that a careful person would give it, runs `PROGRAM sort` on them and compares. Nothing here shares code with the
program. Where a person would not be sure a flag is left out of the count. Needs numpy and Pillow.

Sources: where the Moon stands comes from the contacts of the place as the program prints them (held against reference rows
elsewhere), a quartic through the five; limb darkening after D. Hestroffer & C. Magnan 1998, Astron. Astrophys. 333, 338 (I = mu^a);
corona after S. Baumbach 1937, Astron. Nachr. 263, 121; sRGB after IEC 61966-2-1.
"""
import argparse, csv, datetime as dt, json, os, shutil, subprocess, sys, tempfile
import numpy as np
from PIL import Image

SITE, DATE = '25.54,-103.41,1120', '2024-04-08'
FLAGS = ('capped', 'filter-on', 'cut', 'out-of-frame', 'soft', 'shaken', 'clouded', 'clipped', 'flare')
# Exposure that gives the disc's centre 0.55 of saturation through the filter at ISO 100 and f/8, in seconds.
DISC_S = 1 / 400


class Sky:
    """Contacts, and the Moon's place from the Sun's in solar radii (east, north)."""
    def __init__(self, program):
        c = json.loads(subprocess.run([program, 'contacts', '--site', SITE, '--date', DATE, '--json'], capture_output=True, text=True, check=True).stdout)
        at = lambda k: dt.datetime.fromisoformat(c[k]['utc'].replace('Z', '+00:00')).timestamp()
        self.t = {k: at(k) for k in ('c1', 'c2', 'maximum', 'c3', 'c4')}
        ts = np.array([self.t[k] - self.t['maximum'] for k in self.t])
        fit = lambda key: np.polyfit(ts / 4000, [c[k][key] / c[k]['sun_radius_arcsec'] for k in self.t], 4)
        self.east, self.north, self.ratio = fit('moon_east_arcsec'), fit('moon_north_arcsec'), fit('moon_radius_arcsec')

    def moon(self, t):
        x = (t - self.t['maximum']) / 4000
        return np.polyval(self.east, x), np.polyval(self.north, x), np.polyval(self.ratio, x)


def smooth_noise(rng, shape, scale, roughness=0.55, octaves=4):
    """Clouds: octaves of smooth noise about 0, standard deviation about 1."""
    out = np.zeros(shape)
    for o in range(octaves):
        cell = max(scale / 2 ** o, 2.0)
        n = (int(shape[0] / cell) + 3, int(shape[1] / cell) + 3)
        grid = Image.fromarray(rng.standard_normal(n).astype('float32'))
        wide = (int(n[1] * cell), int(n[0] * cell))
        part = np.asarray(grid.resize(wide, Image.BICUBIC))[:shape[0], :shape[1]]
        out += roughness ** o * part
    return out / np.sqrt(sum(roughness ** (2 * o) for o in range(octaves)))


def blurred(img, sigma):
    if sigma < 0.2: return img
    n = int(4 * sigma + 1); k = np.exp(-0.5 * (np.arange(-n, n + 1) / sigma) ** 2); k /= k.sum()
    for axis in (0, 1):
        pad = [(n, n) if a == axis else (0, 0) for a in range(img.ndim)]
        wide = np.pad(img, pad, mode='edge'); out = np.zeros_like(img)
        for i, w in enumerate(k): out += w * np.take(wide, range(i, i + img.shape[axis]), axis=axis)
        img = out
    return img


def smeared(img, dx, dy):
    n = int(np.hypot(dx, dy) * 2) + 2; out = np.zeros_like(img); h, w = img.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w]
    for s in np.linspace(-0.5, 0.5, n):
        x, y = xx + s * dx, yy + s * dy; x0, y0 = np.floor(x).astype(int), np.floor(y).astype(int); fx, fy = (x - x0)[..., None], (y - y0)[..., None]
        g = lambda a, b: img[np.clip(b, 0, h - 1), np.clip(a, 0, w - 1)]
        out += g(x0, y0) * (1 - fx) * (1 - fy) + g(x0 + 1, y0) * fx * (1 - fy) + g(x0, y0 + 1) * (1 - fx) * fy + g(x0 + 1, y0 + 1) * fx * fy
    return out / n


def disc(yy, xx, x, y, r):
    """Cover of each pixel by a disc, edge softened over a pixel."""
    return np.clip(0.5 + r - np.hypot(xx - x, yy - y), 0, 1)


def srgb(v, curve):
    v = np.clip(v, 0, 1); s = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    return s + curve * (s * s * (3 - 2 * s) - s)


class Frame:
    """One photograph to draw. Light is in parts of saturation."""
    def __init__(self, t, **k):
        self.t = t
        d = dict(kind='partial', level=0.55, blur=0.9, smear=(0, 0), cloud=0.0, cloud_rough=0.0, haze=0.0, glow=0.0, ghost=0.0, offset=(0.0, 0.0),
                 shutter_s=DISC_S, iso=100, corona=0.4, cap=False, glow_out=0.0, filtered=True, field=None, rim=0.0, flags=(), doubtful=(), wide=None, red=0.0)
        d.update(k); self.__dict__.update(d)


class Card:
    """How the camera of a card sees."""
    def __init__(self, name, seed, size=(480, 360), radius=70.0, colour=(1.0, 0.97, 0.9), halo=0.0, halo_scale=0.8, curve=0.0, quality=92, noise=0.008, spots=3, model='Long', focal=600):
        self.name, self.size, self.radius, self.colour, self.halo, self.halo_scale, self.curve = name, size, radius, np.array(colour), halo, halo_scale, curve
        self.quality, self.noise, self.model, self.focal, self.rng = quality, noise, model, focal, np.random.default_rng(seed)
        self.north = self.rng.uniform(-25, 25); self.frames = []
        self.spots = [(r, a, s) for r, a, s in zip(self.rng.uniform(0, .8, spots), self.rng.uniform(0, 6.28, spots), self.rng.uniform(.01, .03, spots))]
        self.phase = self.rng.uniform(0, 6.28, 8)

    def draw(self, f, sky):
        w, h = self.size; R = self.radius; rng = self.rng
        yy, xx = np.mgrid[0:h, 0:w].astype(float)
        if f.wide is not None: return self.landscape(f, yy, xx)
        cx, cy = w / 2 + f.offset[0] * R + rng.uniform(-.3, .3) * R * (f.offset == (0, 0)), h / 2 + f.offset[1] * R + rng.uniform(-.15, .15) * R * (f.offset == (0, 0))
        e, n, ratio = sky.moon(f.t); a = np.radians(self.north); mx, my = cx + R * (-np.sin(a) * n - np.cos(a) * e), cy + R * (-np.cos(a) * n + np.sin(a) * e)
        ss = 2; big = lambda v: (v + 0.5) * ss - 0.5
        yb, xb = np.mgrid[0:h * ss, 0:w * ss].astype(float); xb, yb = (xb + .5) / ss - .5, (yb + .5) / ss - .5
        r = np.hypot(xb - cx, yb - cy) / R; covered = np.clip(0.5 + (ratio * R - np.hypot(xb - mx, yb - my)) * ss, 0, 1)
        if f.kind == 'partial':
            mu = np.sqrt(np.clip(1 - r * r, 0, 1)); face = np.clip(0.5 + (1 - r) * R * ss, 0, 1) * np.maximum(mu, 0.02) ** 0.55
            for sr, sa, s in self.spots:
                px, py = cx + sr * R * np.cos(sa), cy + sr * R * np.sin(sa)
                face *= 1 - 0.7 * np.exp(-((xb - px) ** 2 + (yb - py) ** 2) / (s * R) ** 2)
            light = f.level * face * (1 - covered)
            bare = (face * (1 - covered)).sum() / max(face.sum(), 1)
            halo = max(self.halo, f.glow_out) * f.level * (bare if bare else 1) * np.exp(-np.maximum(r - 1, 0) / self.halo_scale)
            light = light + halo
        else:
            rr = np.maximum(r, 1.0); ang = np.arctan2(yb - cy, xb - cx)
            fall = (0.0532 * rr ** -2.5 + 1.425 * rr ** -7 + 2.565 * rr ** -17) / 4.0432
            streams = 1 + .35 * np.cos(2 * ang + self.phase[0]) + .2 * np.sin(3 * ang + self.phase[1]) + .1 * np.cos(7 * ang + self.phase[2])
            light = f.corona * fall / 0.317 * streams * (1 - covered) + 0.002 * f.corona
            chrom = np.exp(-np.maximum(r * R - R, 0) / (0.012 * R)) * (r > 0.99) * (1 - covered)
            prom = np.exp(-0.5 * ((ang - self.phase[3] + 3.14159) % 6.28318 - 3.14159) ** 2 / 0.05 ** 2) * np.exp(-np.maximum(r - 1.03, 0) / 0.03) * (r > .99) * (1 - covered)
        light = light.reshape(h, ss, w, ss).mean((1, 3))
        rgb = light[..., None] * self.colour
        if f.kind != 'partial':
            red = (3 * chrom + 4 * prom).reshape(h, ss, w, ss).mean((1, 3)) * f.corona
            rgb = light[..., None] * np.ones(3) + red[..., None] * np.array([1, .15, .35])
        if f.cloud > 0:
            depth = f.cloud * np.exp(f.cloud_rough * smooth_noise(rng, (h, w), 1.2 * R)); clear = np.exp(-depth)
            glow = f.glow * rgb.max() * (1 - clear) * np.exp(-np.maximum(np.hypot(xx - cx, yy - cy) / R - 1, 0) / 1.5)
            rgb = rgb * clear[..., None] + glow[..., None] * (self.colour if f.filtered else np.ones(3))
        if f.haze > 0: rgb = rgb * np.exp(-f.haze) + 0.004 * f.haze
        for k, size in ((-.6, .3), (.9, .15)) if f.ghost > 0 else ():
            gx, gy = w / 2 + (cx - w / 2) * k + 1.7 * R * np.sign(k), h / 2 + 1.3 * R * k
            rgb += (f.ghost * blurred(disc(yy, xx, gx, gy, size * R), 1.5))[..., None] * self.colour
        if f.field is not None:
            fx, fy, fr = f.field; inside = disc(yy, xx, cx + fx * R, cy + fy * R, fr * R)
            ring = np.exp(-0.5 * ((np.hypot(xx - cx - fx * R, yy - cy - fy * R) - fr * R) / (0.05 * R)) ** 2)
            rgb = rgb * inside[..., None] + f.rim * ring[..., None] * np.array([.5, .6, 1.0])
        if f.smear != (0, 0): rgb = smeared(rgb, *f.smear)
        rgb = blurred(rgb, f.blur)
        if f.cap: rgb = rgb * 0
        return rgb + 0.0004

    def landscape(self, f, yy, xx):
        """A wide view: sky brighter to the horizon, hills, the Sun or the corona small in it."""
        h, w = yy.shape; horizon = h * 0.75 + 8 * np.sin(xx / w * 9)
        sky = f.wide['sky'] * (0.4 + 0.9 * yy / h); land = f.wide['sky'] * 0.1 * (1 + .5 * smooth_noise(self.rng, (h, w), 12))
        img = np.where(yy > horizon, land, sky)
        x, y = f.wide['sun']; r = np.hypot(xx - x, yy - y)
        img = img + f.wide['light'] * (np.exp(-0.5 * (r / 3) ** 2) + .1 * np.exp(-r / 12))
        if f.cloud > 0:
            clear = np.exp(-f.cloud * np.exp(f.cloud_rough * smooth_noise(self.rng, (h, w), 60))); img = np.where(yy > horizon, img, img * clear + f.wide['sky'] * .4 * (1 - clear))
        return blurred(np.repeat(img[..., None], 3, 2) * np.array([.9, .95, 1.1]), 0.8)

    def save(self, folder, sky):
        os.makedirs(folder, exist_ok=True); truth = {}
        for i, f in enumerate(sorted(self.frames, key=lambda f: f.t)):
            rgb = np.clip(self.draw(f, sky), 0, 4); rgb = rgb + self.noise * np.sqrt(np.clip(rgb, 0, 1)) * self.rng.standard_normal(rgb.shape) + 0.0008 * self.rng.standard_normal(rgb.shape)
            img = Image.fromarray((srgb(rgb, self.curve) * 255 + .5).astype('uint8'))
            exif = Image.Exif(); wide = f.wide is not None
            exif[0x010F], exif[0x0110] = 'Test', 'Wide' if wide else self.model
            d = exif.get_ifd(0x8769); stamp = dt.datetime.fromtimestamp(f.t, dt.timezone.utc)
            d[0x9003] = stamp.strftime('%Y:%m:%d %H:%M:%S'); d[0x9291] = f'{stamp.microsecond // 10000:02d}'; d[0x9011] = '+00:00'
            d[0x829A], d[0x829D], d[0x8827], d[0x920A] = f.shutter_s, 8.0, f.iso, float(24 if wide else self.focal)
            if wide: d[0xA405] = 24
            name = f'{"WID" if wide else "IMG"}_{i + 1:04d}.JPG'
            img.save(os.path.join(folder, name), quality=self.quality, exif=exif)
            truth[name] = (set(f.flags), set(f.doubtful), f.kind if not wide else 'wide')
        return truth


def partial_times(sky, count, sides=('before', 'after')):
    out = []
    for side in sides:
        a, b = (sky.t['c1'] - 200, sky.t['c2'] - 120) if side == 'before' else (sky.t['c3'] + 120, sky.t['c4'] + 200)
        out += list(np.linspace(a, b, count))
    return out


# Light of the corona at 1.1 solar radii over that of the filtered disc's centre for one exposure: Baumbach against a filter of 16 stops.
CORONA_OVER_DISC = 1.27e-6 * 2 ** 16 / 1.2

def bracket(sky, start, rng, stops=range(-3, 6), **k):
    """Nine frames of totality; the corona's light follows from the exposure."""
    out, t = [], start
    for s in stops:
        shutter = DISC_S * 2.0 ** s; corona = 0.55 * CORONA_OVER_DISC * 2.0 ** s
        out.append(Frame(t, kind='total', filtered=False, corona=corona, shutter_s=shutter, **k)); t += shutter + 0.5
    return out

def clear_totality(sky, rng): return bracket(sky, sky.t['c2'] + 25, rng) + bracket(sky, sky.t['c2'] + 90, rng) + bracket(sky, sky.t['c2'] + 170, rng)

def cloud_truth(depth, rough):
    """What a person says of a cloud of a mean optical depth whose logarithm varies by `rough`: nothing below 0.08, cloud above 0.3."""
    if depth < 0.08: return (), ()
    if depth > 0.3: return ('clouded',), ()
    return (), ('clouded',)

def cards(sky, seed):
    rng = np.random.default_rng(seed); S = lambda: int(rng.integers(1 << 30)); out = []
    def partials(card, count=9, **k): card.frames += [Frame(t, **k) for t in partial_times(sky, count)]; return card
    # Clear, a few too bright.
    c = partials(Card('clear', S())); c.frames += clear_totality(sky, rng); out.append(c)
    c = Card('too bright', S(), curve=.3)
    for i, t in enumerate(partial_times(sky, 10)):
        over = [1, 1, 3.5, 1, 8][i % 5]; f = Frame(t, level=0.5 * over, shutter_s=DISC_S * over * .9)
        if over > 1: f.flags = ('clipped',)
        c.frames.append(f)
    c.frames += clear_totality(sky, rng); out.append(c)
    # Orange filter with a halo, some too bright; and a blue one.
    for name, colour, halo in (('orange halo', (1, .45, .08), .035), ('blue halo', (.75, .8, 1), .05), ('orange', (1, .5, .12), 0)):
        c = Card(name, S(), colour=colour, halo=halo, radius=60, size=(520, 380))
        for i, t in enumerate(partial_times(sky, 10)):
            over = [1, 1, 1, 4][i % 4]; f = Frame(t, level=0.6 * over, shutter_s=DISC_S * over)
            if over > 1: f.flags = ('clipped',)
            c.frames.append(f)
        c.frames += bracket(sky, sky.t['c2'] + 40, rng); out.append(c)
    # Thin and thick cloud in the partial phases.
    for name, deep, rough, halo in (('thin cloud', (0, 0, .05, .15, .5, .9, .4, 1.2), .35, 0), ('thick cloud', (0, 0, 1.5, 2.2, .7, 0, 3.0), .6, 0), ('cloud and halo', (0, .0, .5, .8, 0, 1.2), .4, .03), ('even cloud', (0, 0, 0, .6, .9, 1.4), .04, 0), ('even cloud without glow', (0, 0, 0, 0, .7, 1.1), .02, 0)):
        c = Card(name, S(), halo=halo, radius=75)
        for i, t in enumerate(partial_times(sky, 11)):
            d = deep[i % len(deep)] * rng.uniform(.85, 1.15); yes, maybe = cloud_truth(d, rough)
            c.frames.append(Frame(t, cloud=d, cloud_rough=rough, glow=0.0 if 'without' in name else .05, flags=yes, doubtful=maybe))
        c.frames += clear_totality(sky, rng); out.append(c)
    # Cloud that crosses totality.
    for name, rough in (('cloud in totality', .5), ('veil in totality', .12)):
        c = partials(Card(name, S()), 8); fr = clear_totality(sky, rng)
        for f in fr:
            late = f.t > sky.t['c2'] + 80
            if late: f.cloud = rng.uniform(.9, 2.2); f.cloud_rough, f.glow = rough, .03; f.flags = ('clouded',)
        c.frames += fr; out.append(c)
    c = partials(Card('totality under cloud', S()), 8); fr = clear_totality(sky, rng)
    for f in fr: f.cloud = rng.uniform(1.0, 3.0); f.cloud_rough, f.glow = .5, .03; f.flags = ('clouded',)
    c.frames += fr; out.append(c)
    # Haze: even and the same all along; nobody flags it with certainty.
    c = Card('haze', S()); c.frames = [Frame(t, haze=.8, doubtful=('clouded',)) for t in partial_times(sky, 9)]; c.frames += [f for f in clear_totality(sky, rng)]
    for f in c.frames: f.haze = .8; f.doubtful = ('clouded',)
    out.append(c)
    # Shake and defocus.
    c = Card('shake', S(), radius=80)
    for i, t in enumerate(partial_times(sky, 11)):
        L = [0, 0, 6, 0, 12, 9, .8][i % 7]; a = rng.uniform(0, 3.14); f = Frame(t, smear=(L * np.cos(a), L * np.sin(a)) if L else (0, 0))
        f.flags = ('shaken',) if L > 3 else (); f.doubtful = ('soft',) if L > 3 else (); c.frames.append(f)
    fr = clear_totality(sky, rng)
    for i, f in enumerate(fr):
        if i % 4 == 1: a = rng.uniform(0, 3.14); f.smear = (9 * np.cos(a), 9 * np.sin(a)); f.flags = ('shaken',); f.doubtful = ('soft',)
    c.frames += fr; out.append(c)
    c = Card('defocus', S(), radius=80)
    for i, t in enumerate(partial_times(sky, 11)):
        b = [.9, .9, 4.5, .9, 6.5, 1.2][i % 6]; c.frames.append(Frame(t, blur=b, flags=('soft',) if b > 3 else ()))
    fr = clear_totality(sky, rng)
    for i, f in enumerate(fr):
        if i >= 18: f.blur = 5.0; f.flags = ('soft',)
    c.frames += fr; out.append(c)
    c = Card('thin cloud, soft and shaken', S(), radius=80)
    for i, t in enumerate(partial_times(sky, 12)):
        f = Frame(t, cloud=.7 * rng.uniform(.6, 1.4), cloud_rough=.4, glow=.05, flags=('clouded',))
        if i % 6 == 2: f.blur, f.flags = 5.5, ('clouded', 'soft')
        if i % 6 == 4: f.smear, f.flags, f.doubtful = (8, 6), ('clouded', 'shaken'), ('soft',)
        c.frames.append(f)
    out.append(c)
    # At an eyepiece: a dark or bright rim about the field, which cuts some Suns. A person says cut of a twentieth and more of what the Moon leaves.
    def cut_truth(card, t, field):
        yy, xx = np.mgrid[-1:1:201j, -1:1:201j]; e, n, ratio = sky.moon(t); a = np.radians(card.north)
        mx, my = -np.sin(a) * n - np.cos(a) * e, -np.cos(a) * n + np.sin(a) * e
        bare = (np.hypot(xx, yy) < 1) & (np.hypot(xx - mx, yy - my) > ratio); lost = bare & (np.hypot(xx - field[0], yy - field[1]) > field[2])
        share = lost.sum() / max(bare.sum(), 1)
        return (('cut',), ()) if share > .05 else ((), ('cut',)) if share > .005 else ((), ())
    for name, rim in (('eyepiece', 0.0), ('bright rim', .15)):
        c = Card(name, S(), radius=70, size=(420, 420))
        for i, t in enumerate(partial_times(sky, 9)):
            k = i % 3; field = (0.1, -.1, 2.2) if k else (1.0, 0.6, 1.55)
            yes, maybe = cut_truth(c, t, field); c.frames.append(Frame(t, field=field, rim=rim, flags=yes, doubtful=maybe))
        out.append(c)
    # Cut by the frame, out of it, ghosts, covers, filters.
    c = Card('aim', S(), size=(420, 320), radius=70)
    for i, t in enumerate(partial_times(sky, 12)):
        k = i % 6; f = Frame(t)
        if k == 1: f.offset, f.flags = (2.5, 0.1), ('cut',)
        if k == 2: f.offset, f.glow_out, f.flags = (4.2, 0.3), .03, ('out-of-frame',)
        if k == 5: f.offset, f.doubtful = (9, 0.3), ('out-of-frame', 'capped')
        if k == 3: f.ghost, f.flags = .035, ('flare',)
        if k == 4: f.cap, f.flags, f.doubtful = True, ('capped',), ('out-of-frame',)
        c.frames.append(f)
    c.frames += clear_totality(sky, rng); out.append(c)
    for name, k in (('filter kept on', 'all'), ('filter late off', 'early'), ('filter once on', 'one'), ('cover in totality', 'cap')):
        c = partials(Card(name, S()), 8); fr = clear_totality(sky, rng)
        for i, f in enumerate(fr):
            on = k == 'all' or k == 'early' and i < 9 or k == 'cap' and i in (5, 12, 20)
            if on and k == 'cap': f.cap, f.flags = True, ('capped',)
            elif on: f.corona *= 2.0 ** -16; f.flags = ('filter-on',)
        # Habit: the filter put back on for a frame between brackets, with the dials of the partial phases.
        if k == 'one': fr += [Frame(sky.t['c2'] + s, kind='total', filtered=False, corona=.04 * 2.0 ** -16, flags=('filter-on',)) for s in (70, 75, 150)]
        c.frames += fr; out.append(c)
    # Wide views beside a clear long lens.
    c = partials(Card('wide', S()), 8); c.frames += clear_totality(sky, rng)
    for t in np.linspace(sky.t['c2'] - 600, sky.t['c3'] + 600, 16):
        total = sky.t['c2'] < t < sky.t['c3']
        c.frames.append(Frame(t, kind='wide', wide=dict(sky=.06 if total else .3, sun=(300, 90), light=.6 if total else 8), shutter_s=.5 if total else .005))
    out.append(c)
    # A small Sun, and a noisy sensor.
    c = partials(Card('small Sun', S(), size=(300, 220), radius=26), 9); c.frames += clear_totality(sky, rng); out.append(c)
    c = partials(Card('noisy', S(), noise=.03, quality=80), 9); c.frames += clear_totality(sky, rng); out.append(c)
    return out


def main():
    p = argparse.ArgumentParser(); p.add_argument('program'); p.add_argument('--cards'); p.add_argument('--keep'); p.add_argument('--seed', type=int, default=1); p.add_argument('--missed', action='store_true'); p.add_argument('--json')
    a = p.parse_args(); program = os.path.abspath(a.program); sky = Sky(program)
    base = a.keep or tempfile.mkdtemp(); total = {f: [0, 0, 0, 0] for f in FLAGS}; rows = []
    for card in cards(sky, a.seed):
        if a.cards and card.name not in a.cards.split(','): continue
        folder, out = os.path.join(base, card.name.replace(' ', '-')), os.path.join(base, card.name.replace(' ', '-') + '.out')
        known = os.path.join(folder + '.truth.json')
        if os.path.exists(known): truth = {k: (set(v[0]), set(v[1]), v[2]) for k, v in json.load(open(known)).items()}
        else:
            truth = card.save(folder, sky); json.dump({k: [sorted(v[0]), sorted(v[1]), v[2]] for k, v in truth.items()}, open(known, 'w'))
        shutil.rmtree(out, ignore_errors=True)
        done = subprocess.run([program, 'sort', folder, '-o', out, '--site', SITE, '--date', DATE, '--zone', '+00:00', '--quiet'], capture_output=True, text=True)
        if done.returncode > 1: print(card.name, 'failed:', done.stderr[-300:]); continue
        tally = {f: [0, 0, 0, 0] for f in FLAGS}; found = due = 0
        for row in csv.DictReader(open(os.path.join(out, 'shots.csv'), newline='')):
            yes, maybe, kind = truth[os.path.basename(row['file'])]; got = set(row['flags'].split())
            if kind != 'wide' and not (yes | maybe) & {'capped', 'filter-on', 'out-of-frame'}: due += 1; found += row['disc'] != 'none'
            for f in FLAGS:
                if f in maybe: continue
                i = (0 if f in got else 1) if f in yes else (2 if f in got else 3); tally[f][i] += 1; total[f][i] += 1
                if a.missed and i in (1, 2): print(f'    {card.name}: {row["file"]} {row["phase"]} disc {row["disc"]}: {"missed" if i == 1 else "false"} {f}   [{row["flags"]}]')
        rows.append((card.name, found, due, tally))
        worst = ', '.join(f'{f} {t[0]}/{t[0] + t[1]} found, {t[2]} false' for f, t in tally.items() if t[1] or t[2])
        print(f'{card.name:30} discs {found}/{due}   {worst}', flush=True)
    print(f'\n| flag | due | found | false | precision | recall |\n|---|---|---|---|---|---|')
    for f, (hit, miss, false, _) in total.items():
        part = lambda x, y: f'{x / (x + y):.2f}' if x + y else '-'
        print(f'| `{f}` | {hit + miss} | {hit} | {false} | {part(hit, false)} | {part(hit, miss)} |')
    if not a.keep: shutil.rmtree(base)

if __name__ == '__main__': main()
