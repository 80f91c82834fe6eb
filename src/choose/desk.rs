//! What the server holds while the page is open.

use std::fs;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::SystemTime;

use serde_json::{Value, json};
use tokio::sync::Semaphore;

use super::cache::Cache;
use super::pictures::Pictures;
use super::work::{Ask, Work};
use super::{card, recipes, results};
use crate::catalogue::{CATALOGUE_FILE, Catalogue, sha256};
use crate::domain::in_line;
use crate::pipeline::{
    self, PipelineError, RecipeName, RecipeNow, RecipeStep, SmallStrip, Target, recipe_step,
};

/// Frames decoded at once: memory stays flat however fast one walks.
const AT_ONCE: usize = 2;

/// Most memory of small strips, in bytes.
const SHEETS_BYTES: usize = 8 << 20;

/// The card as it was read last.
pub(super) struct Card {
    pub(super) catalogue: Catalogue,
    pub(super) pictures: Pictures,
    /// When the record was written.
    stamp: Option<SystemTime>,
    revision: u64,
}

/// Everything.
pub(super) struct Desk {
    pub(super) target: Target,
    card: RwLock<Arc<Card>>,
    small: SmallStrip,
    /// One strip is drawn at a time: each uses all there is of the machine.
    drawing: Mutex<()>,
    sheets: Cache<String, Arc<Vec<u8>>>,
    pub(super) work: Arc<Work>,
    pub(super) decoding: Semaphore,
}

impl Desk {
    /// For the results of an earlier run.
    pub(super) fn open(target: &Target, catalogue: Catalogue) -> Self {
        Self {
            card: RwLock::new(Arc::new(Card {
                catalogue,
                pictures: Pictures::new(),
                stamp: stamp(&target.out),
                revision: 1,
            })),
            small: SmallStrip::new(&target.out),
            drawing: Mutex::default(),
            sheets: Cache::new(SHEETS_BYTES),
            work: Arc::default(),
            decoding: Semaphore::new(AT_ONCE),
            target: target.clone(),
        }
    }

    /// The card as it was read last.
    pub(super) fn card(&self) -> Arc<Card> {
        let card = self.card.read().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(&card)
    }

    /// The card, read anew where another run has written its record since. One that cannot be read is passed over: the page goes on
    /// with what it has.
    pub(super) fn card_now(&self) -> Arc<Card> {
        let card = self.card();
        let stamp = stamp(&self.target.out);
        if stamp.is_none() || stamp == card.stamp {
            return card;
        }
        let Ok(looked) = pipeline::look(&self.target) else {
            return card;
        };
        let fresh = Arc::new(Card {
            catalogue: looked.catalogue,
            pictures: Pictures::new(),
            stamp,
            revision: card.revision + 1,
        });
        *self.card.write().unwrap_or_else(PoisonError::into_inner) = Arc::clone(&fresh);
        fresh
    }

    /// The card as JSON.
    pub(super) fn card_json(&self) -> Value {
        let card = self.card_now();
        card::json(&card.catalogue, card.revision)
    }

    /// Takes a step with a recipe.
    pub(super) fn step(
        &self,
        name: &RecipeName,
        step: &RecipeStep,
    ) -> Result<RecipeNow, PipelineError> {
        recipe_step(&self.card().catalogue, &self.target.out, name, step)
    }

    /// Takes a step with a recipe and gives it as JSON.
    pub(super) fn recipe_json(
        &self,
        name: &RecipeName,
        step: &RecipeStep,
    ) -> Result<Value, PipelineError> {
        let now = self.step(name, step)?;
        let mut json = recipes::json(&self.card().catalogue, name, &now);
        let all = pipeline::recipes(&self.target.out);
        json["all"] = all.iter().map(recipes::address).collect();
        json["results"] = results::json(&self.target.out, name);
        Ok(json)
    }

    /// Draws a recipe small; the picture is kept under the name given.
    pub(super) fn small_strip(
        &self,
        name: &RecipeName,
        width_px: u32,
    ) -> Result<Value, PipelineError> {
        let now = self.step(name, &RecipeStep::Read)?;
        let card = self.card();
        let _one = self.drawing.lock().unwrap_or_else(PoisonError::into_inner);
        let drawn = self.small.draw(&card.catalogue, &now.recipe, width_px)?;
        let sheet: String = sha256(&drawn.jpeg).chars().take(24).collect();
        let bytes = drawn.jpeg.len();
        self.sheets.put(sheet.clone(), Arc::new(drawn.jpeg), bytes);
        let number = |name: &str| card.catalogue.shots.iter().position(|s| s.name() == name);
        let placed: Vec<Value> = drawn
            .placed
            .iter()
            .map(|p| json!({ "frame": number(&p.name), "x": p.sun.x_px, "y": p.sun.y_px, "r": p.sun.radius_px }))
            .collect();
        let notices: Vec<String> = drawn
            .notices
            .iter()
            .map(|n| in_line(&n.to_string()).into_owned())
            .collect();
        Ok(json!({
            "revision": recipes::revision(&now.text),
            "sheet": sheet,
            "width": drawn.width_px,
            "height": drawn.height_px,
            "placed": placed,
            "notices": notices,
        }))
    }

    /// A small strip that was drawn.
    pub(super) fn sheet(&self, name: &str) -> Option<Arc<Vec<u8>>> {
        self.sheets.get(&name.to_owned())
    }

    /// Begins work; `false` while there is other.
    pub(super) fn begin(self: &Arc<Self>, name: RecipeName, ask: Ask) -> bool {
        let desk = Arc::clone(self);
        let after = move || drop(desk.card_now());
        self.work.begin_on(self.target.clone(), name, ask, after)
    }

    /// What may have changed since a page looked.
    pub(super) fn pulse(&self, name: &RecipeName) -> Value {
        let card = self.card_now();
        let text = fs::read_to_string(self.target.out.join(name.file())).unwrap_or_default();
        json!({
            "card": card.revision,
            "recipe": recipes::revision(&text),
            "work": self.work.state(),
        })
    }
}

fn stamp(out: &Path) -> Option<SystemTime> {
    fs::metadata(out.join(CATALOGUE_FILE)).ok()?.modified().ok()
}
