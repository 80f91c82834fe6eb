//! The cameras of joined cards: which are one, and their names in outputs.

use std::collections::{BTreeMap, BTreeSet};

use crate::catalogue::CameraRecord;
use crate::domain::CameraId;

/// The bodies of all cards.
#[derive(Default)]
pub(super) struct Bodies {
    /// With the index of the card each is from.
    all: Vec<(usize, CameraRecord)>,
}

impl Bodies {
    pub(super) fn take(&mut self, card: usize, cameras: Vec<CameraRecord>) {
        self.all
            .extend(cameras.into_iter().map(|camera| (card, camera)));
    }

    /// New identities, by card and old one, of bodies that two cards name alike: two people's of one model whose headers have no serial
    /// number, or one body whose clock was set anew between two cards. Each keeps its own clock, scale and filter; the card's name behind
    /// the serial number tells them apart.
    pub(super) fn apart(&self, names: &[String]) -> BTreeMap<(usize, CameraId), CameraId> {
        let mut on: BTreeMap<&CameraId, BTreeSet<usize>> = BTreeMap::new();
        for (card, camera) in &self.all {
            on.entry(&camera.id).or_default().insert(*card);
        }
        let shared = on.into_iter().filter(|(_, cards)| cards.len() > 1);
        let renamed = shared.flat_map(|(id, cards)| {
            cards.into_iter().map(|card| {
                let serial = match &id.serial {
                    Some(serial) => format!("{serial} {}", names[card]),
                    None => names[card].clone(),
                };
                let new = CameraId {
                    serial: Some(serial),
                    ..id.clone()
                };
                ((card, id.clone()), new)
            })
        });
        renamed.collect()
    }

    /// Their records in order of their labels: make and model, and the serial number where two share a model.
    pub(super) fn records(
        self,
        apart: &BTreeMap<(usize, CameraId), CameraId>,
    ) -> Vec<CameraRecord> {
        let mut records: Vec<CameraRecord> = self
            .all
            .into_iter()
            .map(|(card, camera)| {
                let key = (card, camera.id);
                let id = apart.get(&key).cloned().unwrap_or(key.1);
                CameraRecord { id, ..camera }
            })
            .collect();
        let mut models: BTreeMap<String, usize> = BTreeMap::new();
        for camera in &records {
            *models.entry(camera.id.make_model()).or_default() += 1;
        }
        for camera in &mut records {
            let model = camera.id.make_model();
            camera.label = match models[&model] {
                1 => model,
                _ => camera.id.to_string(),
            };
        }
        records.sort_by(|a, b| a.label.cmp(&b.label));
        records
    }
}
