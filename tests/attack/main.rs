//! The attack: bad files of every sort, random jobs, kills at random times and full disks.
//!
//! The program must end by itself with one of its four exit codes, within bounds of time and memory, say what is wrong
//! in a sentence, and leave nothing half done. `DOTWRIGHT_ATTACK=100000` tries so many, from another start each time,
//! `DOTWRIGHT_ATTACK_ON=drawing,job` those sorts of files alone; what fails is kept in `target/attack-failures/`.

#![cfg(unix)]

mod chance;
mod disk;
mod jobs;
mod kill;
mod mutants;
mod mutate;
mod reader;
mod run;
mod seeds;
