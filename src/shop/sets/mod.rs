mod bound;
mod large;
mod matching;
mod search;
mod stars;
