//! Small random changes to input.

use rand::RngExt;
use rand_pcg::Pcg64Mcg;

/// Numbers at which readers go wrong.
const NUMBERS: [u32; 14] = [
    0,
    1,
    2,
    7,
    8,
    0x7F,
    0x80,
    0xFF,
    0x100,
    0x7FFF,
    0xFFFF,
    0x7FFF_FFFF,
    0x8000_0000,
    0xFFFF_FFFF,
];

/// The input with one to five changes; `other` lends parts, `words` are put in whole.
pub(super) fn changed(base: &[u8], other: &[u8], words: &[&str], chance: &mut Pcg64Mcg) -> Vec<u8> {
    let mut input = base.to_vec();
    for _ in 0..chance.random_range(1..=5) {
        change(&mut input, other, words, chance);
    }
    input
}

fn change(input: &mut Vec<u8>, other: &[u8], words: &[&str], chance: &mut Pcg64Mcg) {
    if input.is_empty() {
        input.push(chance.random());
        return;
    }
    let at = chance.random_range(0..input.len());
    let most = if chance.random_bool(0.2) { 4096 } else { 16 };
    let end = (at + chance.random_range(1..=most)).min(input.len());
    match chance.random_range(0..if words.is_empty() { 8 } else { 11 }) {
        0 => input[at] ^= 1 << chance.random_range(0..8),
        1 => input[at] = chance.random(),
        2 => put_number(input, at, chance),
        3 => drop(input.drain(at..end)),
        4 => {
            let part = input[at..end].to_vec();
            input.splice(at..at, part);
        }
        5 => input.truncate(at),
        6 => {
            let (from, to) = part_of(other, chance);
            input.splice(at..at, other[from..to].iter().copied());
        }
        7 => {
            let (from, to) = part_of(other, chance);
            input.splice(at..end, other[from..to].iter().copied());
        }
        _ => put_word(input, at, words, chance),
    }
}

fn part_of(other: &[u8], chance: &mut Pcg64Mcg) -> (usize, usize) {
    if other.is_empty() {
        return (0, 0);
    }
    let from = chance.random_range(0..other.len());
    let to = (from + chance.random_range(1..=64)).min(other.len());
    (from, to)
}

/// Writes a number of 1, 2 or 4 bytes, either end first.
fn put_number(input: &mut [u8], at: usize, chance: &mut Pcg64Mcg) {
    let number = NUMBERS[chance.random_range(0..NUMBERS.len())];
    let bytes = match chance.random_range(0..5) {
        0 => vec![number as u8],
        1 => (number as u16).to_le_bytes().to_vec(),
        2 => (number as u16).to_be_bytes().to_vec(),
        3 => number.to_le_bytes().to_vec(),
        _ => number.to_be_bytes().to_vec(),
    };
    for (place, byte) in input[at..].iter_mut().zip(bytes) {
        *place = byte;
    }
}

/// Puts a word in the place of the number, text or word that stands at or behind a place.
fn put_word(input: &mut Vec<u8>, at: usize, words: &[&str], chance: &mut Pcg64Mcg) {
    let word = words[chance.random_range(0..words.len())].bytes();
    let breaks = |byte: &u8| b",:=[]{}\n ".contains(byte);
    let from = at + input[at..].iter().position(breaks).map_or(0, |n| n + 1);
    let from = from.min(input.len());
    let to = from + input[from..].iter().position(breaks).unwrap_or(0);
    input.splice(from..to, word);
}
