//! What was made last, within a bound of memory.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

/// Values by their keys; the one not asked for the longest goes first.
pub(super) struct Cache<K, V> {
    most_bytes: usize,
    kept: Mutex<VecDeque<(K, V, usize)>>,
}

impl<K: PartialEq, V: Clone> Cache<K, V> {
    /// An empty one that holds so many bytes, or one value that is larger.
    pub(super) fn new(most_bytes: usize) -> Self {
        Self {
            most_bytes,
            kept: Mutex::default(),
        }
    }

    /// The value of a key, where it is still there.
    pub(super) fn get(&self, key: &K) -> Option<V> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let at = kept.iter().position(|(k, ..)| k == key)?;
        let entry = kept.remove(at)?;
        let value = entry.1.clone();
        kept.push_back(entry);
        Some(value)
    }

    /// Keeps a value that takes so many bytes.
    pub(super) fn put(&self, key: K, value: V, bytes: usize) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.retain(|(k, ..)| *k != key);
        kept.push_back((key, value, bytes));
        while kept.len() > 1
            && kept.iter().map(|(.., bytes)| bytes).sum::<usize>() > self.most_bytes
        {
            kept.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_not_asked_for_the_longest_goes_first() {
        let cache = Cache::new(10);
        cache.put("a", 1, 4);
        cache.put("b", 2, 4);
        assert_eq!(cache.get(&"a"), Some(1));
        cache.put("c", 3, 4);
        assert_eq!(
            (cache.get(&"a"), cache.get(&"b"), cache.get(&"c")),
            (Some(1), None, Some(3))
        );
        cache.put("large", 4, 99);
        assert_eq!((cache.get(&"large"), cache.get(&"a")), (Some(4), None));
    }
}
