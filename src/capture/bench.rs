//! (to come)
use super::{Capture, Progress, Request, Take};
use crate::failure::Result;
use crate::network::Load;
use crate::rig::Rig;
#[derive(Debug, Clone, Default)]
pub struct Spec;
impl Spec { pub fn from_arg(_t: &str) -> Result<Spec> { Ok(Spec) } }
pub struct Bench;
impl Bench { pub fn new(_s: Spec, _r: Option<&Rig>, _l: Option<&Load>, _o: bool, _n: u64) -> Result<Self> { Ok(Bench) } }
impl Capture for Bench {
    fn describe(&self) -> String { "x".into() }
    fn take(&mut self, _r: &Request, _p: &mut dyn FnMut(Progress)) -> Result<Take> { Err(crate::failure::Failure::new("x", "y")) }
}
