//! A host as far as the window knows it: it takes every gesture and writes it down.

#![allow(clippy::disallowed_types, reason = "a host's own threads may wait")]
#![allow(dead_code)] // Whoever includes it needs a part of it.
#![expect(
    unsafe_code,
    reason = "a host of the framework is made of unsafe functions; this one trusts its pointers"
)]

use nice_plug::context::PluginApi;
use nice_plug::context::gui::{GuiContext, GuiContextInner};
use nice_plug::plugin::PluginState;
use nice_plug::prelude::{ParamPtr, Params};
use procession::params::Parameters;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// The host of these parameters, which must outlive it.
pub struct Host {
    parameters: Arc<Parameters>,
    ids: HashMap<ParamPtr, String>,
    heard: Mutex<Vec<String>>,
}

impl Host {
    /// Of an instance with these parameters.
    pub fn new(parameters: Arc<Parameters>) -> Arc<Self> {
        let ids = parameters
            .param_map()
            .into_iter()
            .map(|(id, pointer, _)| (pointer, id))
            .collect();
        Arc::new(Self {
            parameters,
            ids,
            heard: Mutex::default(),
        })
    }

    /// What the window's gestures go to.
    pub fn context(self: &Arc<Self>) -> GuiContext {
        GuiContext::new(self.clone())
    }

    /// What it was told since this was last asked.
    pub fn take_heard(&self) -> Vec<String> {
        std::mem::take(&mut *self.heard.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// The host moves a parameter of its own accord, as by automation.
    pub fn automate(&self, id: &str, normalized: f32) {
        let found = self.ids.iter().find(|(_, known)| *known == id);
        let (pointer, _) = found.unwrap_or_else(|| panic!("no parameter {id}"));
        // SAFETY: it points into the parameters held here.
        unsafe { pointer._internal_set_normalized_value(normalized) };
    }

    /// The same, to the value that a text stands for.
    pub fn automate_to(&self, id: &str, text: &str) {
        let (_, parameter) = self
            .parameters
            .of_id(id)
            .unwrap_or_else(|| panic!("no parameter {id}"));
        let value = parameter
            .value_of(text)
            .unwrap_or_else(|| panic!("{text} is no value of {id}"));
        self.automate(id, value);
    }

    fn note(&self, what: &str, parameter: ParamPtr) {
        self.write(format!("{what} {}", self.ids[&parameter]));
    }

    fn write(&self, line: String) {
        let mut heard = self.heard.lock().unwrap_or_else(PoisonError::into_inner);
        heard.push(line);
    }
}

impl GuiContextInner for Host {
    fn plugin_api(&self) -> PluginApi {
        PluginApi::Clap
    }

    unsafe fn raw_begin_set_parameter(&self, parameter: ParamPtr) {
        self.note("begin", parameter);
    }

    unsafe fn raw_set_parameter_normalized(&self, parameter: ParamPtr, normalized: f32) {
        // SAFETY: it points into the parameters held here.
        let text = unsafe {
            parameter._internal_set_normalized_value(normalized);
            parameter.normalized_value_to_string(normalized, true)
        };
        self.write(format!("{} = {text}", self.ids[&parameter]));
    }

    unsafe fn raw_end_set_parameter(&self, parameter: ParamPtr) {
        self.note("end", parameter);
    }

    fn get_state(&self) -> PluginState {
        unreachable!("the window never asks for the state")
    }

    fn set_state(&self, _: PluginState) {
        unreachable!("the window never loads a state")
    }

    fn request_restart(&self) {}
}
