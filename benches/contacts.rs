//! How many places, instants and contacts a second.
#![allow(missing_docs)]

use std::hint::black_box;

use contactstrip::contacts::{self, ContactsOptions};
use contactstrip::domain::Site;
use contactstrip::ephemeris::{EclipseView, Radii, eclipse_near};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

/// Places on a grid over South America, some in the track of 2019-07-02, some outside it.
fn views(count: usize) -> Vec<EclipseView> {
    let eclipse = eclipse_near("2019-07-02".parse().expect("a date")).expect("an eclipse");
    let place = |n: usize| {
        let lat = -45.0 + (n * 7919 % 3000) as f64 / 100.0;
        let lon = -80.0 + (n * 104_729 % 2500) as f64 / 100.0;
        Site::new(lat, lon, 0.0).expect("on the Earth")
    };
    (0..count)
        .map(|n| EclipseView::new(eclipse, place(n), Radii::IAU, None))
        .collect()
}

fn evaluations(c: &mut Criterion) {
    let million = views(1_000_000);
    let mut group = c.benchmark_group("a million places");
    group
        .sample_size(10)
        .throughput(Throughput::Elements(1_000_000));
    group.bench_function("discs at one instant", |b| {
        b.iter(|| {
            let sum: f64 = million
                .iter()
                .map(|view| view.discs(black_box(1234.5)).separation_arcsec)
                .sum();
            black_box(sum)
        });
    });
    group.bench_function("whole sky at one instant", |b| {
        let utc = million[0].origin().plus_s(1234.5);
        b.iter(|| {
            let sum: f64 = million
                .iter()
                .map(|view| view.at(black_box(utc)).obscuration)
                .sum();
            black_box(sum)
        });
    });
    group.finish();
    let some = views(1_000);
    let mut group = c.benchmark_group("contacts");
    group
        .sample_size(20)
        .throughput(Throughput::Elements(some.len() as u64));
    group.bench_function("a thousand places", |b| {
        b.iter(|| {
            some.iter()
                .filter(|view| contacts::of_view(black_box(view)).is_ok())
                .count()
        });
    });
    group.finish();
}

/// One site on the real limb, the heights unpacked beforehand (the first use of a run takes that besides).
fn real_limb(c: &mut Criterion) {
    let eclipse = eclipse_near("2019-07-02".parse().expect("a date")).expect("an eclipse");
    let options = ContactsOptions::real();
    let mut group = c.benchmark_group("one site on the real limb");
    group.sample_size(20);
    for (name, lat, lon) in [
        ("central", -30.03, -70.71),
        ("near the limit", -30.50, -70.71),
    ] {
        let site = Site::new(lat, lon, 600.0).expect("on the Earth");
        let view = EclipseView::new(eclipse, site, options.radii, None);
        group.bench_function(name, |b| {
            b.iter(|| contacts::of_view_with(black_box(&view), options.limb).is_ok());
        });
    }
    group.finish();
}

criterion_group!(benches, evaluations, real_limb);
criterion_main!(benches);
