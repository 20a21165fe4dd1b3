//! What is declared about a parameter, and its texts: from a value to what the host shows, and
//! from what is typed back to a value.
//!
//! Text is understood with or without its unit, singular or plural, in capitals or not. What is
//! out of range goes to the nearest end; what makes no sense is refused, and the value stays.

use nice_plug::params::{BoolParam, FloatParam, IntParam, InternalParamMut};
use nice_plug::plugin::ParamValue;
use nice_plug::prelude::{FloatRange, IntRange, ParamSetter};
use procession_core::settings::{Worded, Wording, bared, plain};
use std::ops::RangeInclusive;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// One parameter as the public contract has it.
#[derive(Clone, Debug)]
pub struct Declaration {
    /// Lasting: automation lanes and saved projects hang on it.
    pub id: String,
    /// As the host shows it.
    pub name: String,
    /// One plain sentence about what is heard; the window's tooltip.
    pub heard: &'static str,
    /// Its values.
    pub kind: Kind,
    /// Whether a host may record and play changes of it.
    pub automatable: bool,
}

/// The kinds of parameter.
#[derive(Clone, Debug)]
pub enum Kind {
    /// Off or on.
    Toggle(Toggle),
    /// A whole number of something.
    Whole(Whole),
    /// One of a list.
    Choice(Choice),
    /// An amount of something.
    Amount(Amount),
}

/// Off or on.
#[derive(Clone, Copy, Debug)]
pub struct Toggle {
    /// Whether it starts on.
    pub default: bool,
    /// Whether the host's own bypass is this.
    pub bypass: bool,
}

/// A whole number of something; its ends may have names of their own.
#[derive(Clone, Debug)]
pub struct Whole {
    /// The values that are numbers.
    pub numbers: RangeInclusive<i32>,
    /// A value just below the numbers, by name.
    pub below: Option<&'static str>,
    /// A value just above the numbers, by name.
    pub above: Option<&'static str>,
    /// The value at the start.
    pub default: i32,
    /// What is counted.
    pub unit: Unit,
    /// How a number is written, if not with its unit.
    pub naming: Option<Naming>,
}

/// How the numbers of a kind are written: keys by note names, say.
#[derive(Clone, Copy, Debug)]
pub struct Naming {
    /// As the host shows it.
    pub text: fn(i32) -> String,
    /// The number that is meant by a text.
    pub value: fn(&str) -> Option<i32>,
}

/// One of a list. The host knows an option by its place in the list, a saved state by its id.
///
/// Lists are append only. A longer list leaves saved states and CLAP automation right, but VST3
/// automation stores place / (count - 1) and would come out elsewhere; so a list grows only behind
/// a new parameter id, or with a note to users that lanes of this parameter have to be redrawn.
#[derive(Clone, Debug)]
pub struct Choice {
    /// In the order of the host's values.
    pub options: Vec<Wording>,
    /// The option at the start.
    pub default: usize,
    /// The place of the option that is meant by a text, of those behind `first`.
    from_text: fn(&str) -> Option<usize>,
    /// 1 if "Auto" opens the list, else 0.
    first: usize,
}

/// An amount of something in steps of its finest resolution; its lower end may have a name of its
/// own.
#[derive(Clone, Debug)]
pub struct Amount {
    /// The values that are numbers, ends included.
    pub numbers: RangeInclusive<f32>,
    /// A value one step of the resolution below the numbers, by name.
    pub below: Option<&'static str>,
    /// The value at the start.
    pub default: f32,
    /// Digits after the point that count.
    pub decimals: u8,
    /// What is measured.
    pub unit: Unit,
    /// Whether decibels are understood too; 0 dB is 100.
    pub decibels: bool,
}

/// What is counted, for one and for many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unit {
    /// "step"
    pub one: &'static str,
    /// "steps"
    pub many: &'static str,
}

fn place_of<T: Worded>(option: T) -> Option<usize> {
    T::ALL.iter().position(|other| *other == option)
}

fn place_meant<T: Worded>(text: &str) -> Option<usize> {
    T::meant_by(text).and_then(place_of)
}

/// Counts how often any of the parameters has moved: what follows from them is worked out again only
/// then. The framework tells of every value that is set, whoever sets it.
#[derive(Clone, Debug, Default)]
pub struct Moved(Arc<AtomicU64>);

impl Moved {
    /// A value has changed.
    fn note(&self) {
        // Whoever sees the new count sees the new value.
        self.0.fetch_add(1, Ordering::Release);
    }

    /// How often so far. What is read of the parameters after this is no older.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn count(&self) -> u64 {
        self.0.load(Ordering::Acquire)
    }
}

/// What makes up a kind of parameter: how the framework's parameter is built from it.
pub trait Declared: Sized {
    /// The framework's parameter.
    type Parameter;

    /// Builds it under this name. Whenever its value changes, `moved` is told.
    fn build(&self, name: &str, automatable: bool, moved: &Moved) -> Self::Parameter;

    /// As hosts and windows handle it.
    fn shown(parameter: &Self::Parameter) -> &dyn Shown;

    /// As one kind among the others.
    fn kind(self) -> Kind;
}

impl Toggle {
    /// Starts off.
    pub const OFF: Self = Self {
        default: false,
        bypass: false,
    };

    /// Starts off, and is what the host takes for its own bypass.
    pub const BYPASS: Self = Self {
        default: false,
        bypass: true,
    };

    /// "Off" or "On".
    pub fn text(&self, value: bool) -> String {
        if value { "On" } else { "Off" }.to_owned()
    }

    /// The value that was typed.
    pub fn value(&self, text: &str) -> Option<bool> {
        match bared(text).as_str() {
            "on" | "yes" | "true" | "1" => Some(true),
            "off" | "no" | "false" | "0" => Some(false),
            _ => None,
        }
    }
}

impl Declared for Toggle {
    type Parameter = BoolParam;

    fn build(&self, name: &str, automatable: bool, moved: &Moved) -> BoolParam {
        let moved = moved.clone();
        let (to_text, to_value) = (*self, *self);
        let parameter = BoolParam::new(name, self.default)
            .with_callback(Arc::new(move |_| moved.note()))
            .with_value_to_string(Arc::new(move |value| to_text.text(value)))
            .with_string_to_value(Arc::new(move |text| to_value.value(text)));
        let parameter = if self.bypass {
            parameter.make_bypass()
        } else {
            parameter
        };
        if automatable {
            parameter
        } else {
            parameter.non_automatable()
        }
    }

    fn shown(parameter: &BoolParam) -> &dyn Shown {
        parameter
    }

    fn kind(self) -> Kind {
        Kind::Toggle(self)
    }
}

impl Whole {
    /// From the smallest to the largest number, starting at `default`.
    pub fn new(numbers: RangeInclusive<i32>, unit: Unit, default: i32) -> Self {
        Self {
            numbers,
            below: None,
            above: None,
            default,
            unit,
            naming: None,
        }
    }

    /// The numbers are written otherwise; a plain number is understood, too.
    pub fn named(self, naming: Naming) -> Self {
        Self {
            naming: Some(naming),
            ..self
        }
    }

    /// The value one below the numbers has this name, and is where the parameter starts.
    pub fn or_below(self, name: &'static str) -> Self {
        Self {
            below: Some(name),
            default: self.numbers.start() - 1,
            ..self
        }
    }

    /// The value one above the numbers has this name.
    pub fn or_above(self, name: &'static str) -> Self {
        Self {
            above: Some(name),
            ..self
        }
    }

    /// All values, the named ones with them.
    pub fn range(&self) -> RangeInclusive<i32> {
        self.numbers.start() - i32::from(self.below.is_some())
            ..=self.numbers.end() + i32::from(self.above.is_some())
    }

    /// "Auto", "1 step", "3 steps".
    pub fn text(&self, value: i32) -> String {
        let named = if value < *self.numbers.start() {
            self.below
        } else if value > *self.numbers.end() {
            self.above
        } else {
            None
        };
        match (named, self.naming) {
            (Some(name), _) => name.to_owned(),
            (None, Some(naming)) => (naming.text)(value),
            (None, None) => format!("{value} {}", self.unit.of(f64::from(value))),
        }
    }

    /// The value that was typed. A number never becomes one of the named ends.
    pub fn value(&self, text: &str) -> Option<i32> {
        let bare = bared(text);
        let is = |name: Option<&str>| name.is_some_and(|name| bared(name) == bare);
        if is(self.below) {
            return Some(self.numbers.start() - 1);
        }
        if is(self.above) {
            return Some(self.numbers.end() + 1);
        }
        let named = self.naming.and_then(|naming| (naming.value)(text));
        if named.is_some() {
            return named;
        }
        let (number, unit) = number_and_unit(text)?;
        // `as` saturates.
        let within = (number.round() as i32).clamp(*self.numbers.start(), *self.numbers.end());
        self.unit.is(&unit).then_some(within)
    }
}

impl Declared for Whole {
    type Parameter = IntParam;

    fn build(&self, name: &str, automatable: bool, moved: &Moved) -> IntParam {
        let moved = moved.clone();
        let (to_text, to_value) = (self.clone(), self.clone());
        let parameter = IntParam::new(name, self.default, int_range(self.range()))
            .with_callback(Arc::new(move |_| moved.note()))
            .with_value_to_string(Arc::new(move |value| to_text.text(value)))
            .with_string_to_value(Arc::new(move |text| to_value.value(text)));
        automation(parameter, automatable)
    }

    fn shown(parameter: &IntParam) -> &dyn Shown {
        parameter
    }

    fn kind(self) -> Kind {
        Kind::Whole(self)
    }
}

impl Choice {
    /// All values of an enum, starting at its default.
    pub fn of<T: Worded>() -> Self {
        Self {
            options: T::ALL.iter().map(|option| option.wording()).collect(),
            default: place_of(T::default()).unwrap_or(0),
            from_text: place_meant::<T>,
            first: 0,
        }
    }

    /// All values of an enum behind "Auto", which is where it starts.
    pub fn auto_or<T: Worded>() -> Self {
        let mut list = Self::of::<T>();
        list.options.insert(0, Wording::new("auto", "Auto"));
        list.default = 0;
        list.first = 1;
        list
    }

    /// The name of an option.
    pub fn text(&self, index: i32) -> String {
        let option = usize::try_from(index)
            .ok()
            .and_then(|index| self.options.get(index));
        option.map_or(String::new(), |option| option.name.to_owned())
    }

    /// The option that was typed.
    pub fn value(&self, text: &str) -> Option<i32> {
        let auto = self.first == 1 && bared(text) == "auto";
        let place = if auto {
            0
        } else {
            (self.from_text)(text)? + self.first
        };
        i32::try_from(place).ok()
    }

    /// The lasting id of an option.
    pub fn id(&self, index: i32) -> Option<&'static str> {
        Some(self.options.get(usize::try_from(index).ok()?)?.id)
    }

    /// The option of that lasting id.
    pub fn by_id(&self, id: &str) -> Option<i32> {
        let found = self.options.iter().position(|option| option.id == id);
        found.map(|index| index as i32)
    }

    fn range(&self) -> RangeInclusive<i32> {
        0..=self.options.len() as i32 - 1
    }
}

impl Declared for Choice {
    // Shared with the list of choices that is saved by id. Not the framework's own enum parameter:
    // that one understands no typed text but the exact name, and an index out of range, which it
    // lets in, aborts the host at the next save.
    type Parameter = Arc<IntParam>;

    fn build(&self, name: &str, automatable: bool, moved: &Moved) -> Arc<IntParam> {
        let moved = moved.clone();
        let (to_text, to_value) = (self.clone(), self.clone());
        let parameter = IntParam::new(name, self.default as i32, int_range(self.range()))
            .with_callback(Arc::new(move |_| moved.note()))
            .with_value_to_string(Arc::new(move |index| to_text.text(index)))
            .with_string_to_value(Arc::new(move |text| to_value.value(text)));
        Arc::new(automation(parameter, automatable))
    }

    fn shown(parameter: &Arc<IntParam>) -> &dyn Shown {
        parameter.as_ref()
    }

    fn kind(self) -> Kind {
        Kind::Choice(self)
    }
}

impl Amount {
    /// Steps ahead (or behind), to a hundredth.
    pub const fn steps(limit: f32, unit: Unit) -> Self {
        Self {
            numbers: -limit..=limit,
            below: None,
            default: 0.0,
            decimals: 2,
            unit,
            decibels: false,
        }
    }

    /// A share of the whole, in percent.
    pub const fn percent(default: f32) -> Self {
        Self {
            numbers: 0.0..=100.0,
            below: None,
            default,
            decimals: 1,
            unit: PERCENT,
            decibels: false,
        }
    }

    /// The same up to less than the whole, none to begin with.
    pub const fn percent_up_to(most: f32) -> Self {
        Self {
            numbers: 0.0..=most,
            ..Self::percent(0.0)
        }
    }

    /// So many to one, even to begin with.
    pub const fn ratio(most: f32) -> Self {
        Self {
            numbers: 1.0..=most,
            decimals: 2,
            unit: TO_ONE,
            ..Self::percent(1.0)
        }
    }

    /// A level in percent, 100 leaving things as they are.
    pub const fn level() -> Self {
        Self {
            numbers: 0.0..=200.0,
            decibels: true,
            ..Self::percent(100.0)
        }
    }

    /// A level in decibels, up to full scale.
    pub const fn decibels(lowest: f32) -> Self {
        Self {
            numbers: lowest..=0.0,
            below: None,
            default: lowest,
            decimals: 1,
            unit: DECIBELS,
            decibels: false,
        }
    }

    /// The value below the numbers has this name, and is where the parameter starts.
    pub fn or_below(self, name: &'static str) -> Self {
        let named = Self {
            below: Some(name),
            ..self
        };
        let default = *named.range().start();
        Self { default, ..named }
    }

    /// Starts at `default`.
    pub fn starting_at(self, default: f32) -> Self {
        let default = self.within(default);
        Self { default, ..self }
    }

    /// All values, the named one with them.
    pub fn range(&self) -> RangeInclusive<f32> {
        let (lowest, highest) = (*self.numbers.start(), *self.numbers.end());
        match self.below {
            Some(_) => self.rounded(lowest - self.resolution()) as f32..=highest,
            None => lowest..=highest,
        }
    }

    /// The value as a number, unless it is the one that has a name.
    pub fn number(&self, value: f32) -> Option<f32> {
        let value = self.within(value);
        (value >= *self.numbers.start()).then_some(value)
    }

    /// "-0.25 steps", "100 %", "Off".
    pub fn text(&self, value: f32) -> String {
        if let Some(name) = self.below.filter(|_| self.number(value).is_none()) {
            return name.to_owned();
        }
        let exact = self.rounded(value);
        format!("{exact} {}", self.unit.of(exact))
    }

    /// The value that was typed. A number never becomes the named end.
    pub fn value(&self, text: &str) -> Option<f32> {
        if self.below.is_some_and(|name| bared(name) == bared(text)) {
            return Some(*self.range().start());
        }
        let (number, unit) = match plain(text).strip_suffix("db") {
            Some("-inf") if self.decibels => (0.0, String::new()),
            Some(decibels) if self.decibels => {
                let (decibels, rest) = number_and_unit(decibels)?;
                (100.0 * 10_f64.powf(decibels / 20.0), rest)
            }
            _ => number_and_unit(text)?,
        };
        let number = (number as f32).clamp(*self.numbers.start(), *self.numbers.end());
        self.unit.is(&unit).then(|| self.within(number))
    }

    /// A saved value, in range, and else to the last bit as it was saved: a project that is opened
    /// and saved again is the same file. No -0: the framework takes that for 0, and keeps the 0.
    fn restored(&self, value: f32) -> f32 {
        if value.is_nan() {
            return self.default;
        }
        value.clamp(*self.range().start(), *self.range().end()) + 0.0
    }

    /// In range and on a step of the resolution; the default if it is no number.
    pub fn within(&self, value: f32) -> f32 {
        if value.is_nan() {
            return self.default;
        }
        self.rounded(value.clamp(*self.range().start(), *self.range().end())) as f32
    }

    fn resolution(&self) -> f32 {
        10_f32.powi(-i32::from(self.decimals))
    }

    /// To the decimals that count, without the noise of `f32`, and never -0.
    fn rounded(&self, value: f32) -> f64 {
        // In f32, so that lanes that hosts have kept are on the steps on which they always were.
        let steps = f64::from((value / self.resolution()).round());
        steps / 10_f64.powi(i32::from(self.decimals)) + 0.0
    }
}

impl Declared for Amount {
    type Parameter = FloatParam;

    fn build(&self, name: &str, automatable: bool, moved: &Moved) -> FloatParam {
        let moved = moved.clone();
        let (to_text, to_value) = (self.clone(), self.clone());
        let (min, max) = (*self.range().start(), *self.range().end());
        // Without a step: the framework would multiply it in f32, so that values became ones that no
        // text stands for (176.90001), or -0. What is finer than the resolution is rounded where it
        // is shown and where it is heard.
        let parameter = FloatParam::new(name, self.default, FloatRange::Linear { min, max })
            .with_callback(Arc::new(move |_| moved.note()))
            .with_value_to_string(Arc::new(move |value| to_text.text(value)))
            .with_string_to_value(Arc::new(move |text| to_value.value(text)));
        if automatable {
            parameter
        } else {
            parameter.non_automatable()
        }
    }

    fn shown(parameter: &FloatParam) -> &dyn Shown {
        parameter
    }

    fn kind(self) -> Kind {
        Kind::Amount(self)
    }
}

impl Declaration {
    /// The lasting id of the option that a saved value is, of a choice.
    pub fn choice_id(&self, saved: &ParamValue) -> Option<&'static str> {
        match (&self.kind, saved) {
            (Kind::Choice(list), ParamValue::I32(place)) => list.id(*place),
            _ => None,
        }
    }

    /// The value that a text stands for, as a saved state has it.
    pub fn typed(&self, text: &str) -> Option<ParamValue> {
        match &self.kind {
            Kind::Toggle(toggle) => toggle.value(text).map(ParamValue::Bool),
            Kind::Whole(whole) => whole.value(text).map(ParamValue::I32),
            Kind::Choice(list) => list.value(text).map(ParamValue::I32),
            Kind::Amount(amount) => amount.value(text).map(ParamValue::F32),
        }
    }

    /// Whether its values are whole numbers, places in a list among them.
    pub fn is_whole(&self) -> bool {
        matches!(self.kind, Kind::Whole(_) | Kind::Choice(_))
    }

    /// What a saved value becomes: itself if it is one of this parameter's, the nearest end if it
    /// is out of range, the default if it is missing or of another kind. `choice` is the lasting
    /// id of an option, which counts for more than its place.
    pub fn restored(&self, saved: Option<ParamValue>, choice: Option<&String>) -> ParamValue {
        match &self.kind {
            Kind::Toggle(toggle) => ParamValue::Bool(match saved {
                Some(ParamValue::Bool(value)) => value,
                _ => toggle.default,
            }),
            Kind::Whole(whole) => ParamValue::I32(match saved {
                Some(ParamValue::I32(value)) => {
                    value.clamp(*whole.range().start(), *whole.range().end())
                }
                _ => whole.default,
            }),
            Kind::Choice(list) => ParamValue::I32(match (choice, saved) {
                (Some(id), _) => list.by_id(id).unwrap_or(list.default as i32),
                (None, Some(ParamValue::I32(index))) if list.range().contains(&index) => index,
                _ => list.default as i32,
            }),
            Kind::Amount(amount) => ParamValue::F32(match saved {
                Some(ParamValue::F32(value)) => amount.restored(value),
                _ => amount.default,
            }),
        }
    }
}

/// A parameter of whatever kind, as hosts and windows handle it: by normalized value and by text.
pub trait Shown {
    /// As the host shows it.
    fn shown_name(&self) -> &str;
    /// The text of a normalized value, 0 ..= 1.
    fn text_of(&self, normalized: f32) -> String;
    /// The normalized value of a text.
    fn value_of(&self, text: &str) -> Option<f32>;
    /// The default as a normalized value.
    fn normalized_default(&self) -> f32;
    /// Steps from one end to the other, if it has steps for the host.
    fn steps(&self) -> Option<usize>;
    /// Flags as the host learns them.
    fn host_flags(&self) -> nice_plug::prelude::ParamFlags;
    /// The value now, without modulation, normalized.
    fn normalized(&self) -> f32;
    /// The nearest value that the parameter can take, normalized.
    fn nearest(&self, normalized: f32) -> f32;
    /// Tells the host that a hand is laid on it.
    fn begin(&self, host: &ParamSetter);
    /// Tells the host the normalized value that the hand gives it.
    fn set(&self, host: &ParamSetter, normalized: f32);
    /// Tells the host that the hand is off.
    fn end(&self, host: &ParamSetter);
    /// The value now, without modulation, as a saved state has it.
    fn saved(&self) -> ParamValue;
    /// Takes the value that a saved state has, as when a host loads it. One of another kind is left.
    fn restore(&self, saved: &ParamValue);
}

/// A value as saved states have it.
pub trait Saved: Copy {
    /// As a state has it.
    fn to_saved(self) -> ParamValue;
    /// Out of a state, if it is of this kind.
    fn from_saved(saved: &ParamValue) -> Option<Self>;
}

macro_rules! saved_as {
    ($plain:ty, $kind:ident) => {
        impl Saved for $plain {
            fn to_saved(self) -> ParamValue {
                ParamValue::$kind(self)
            }

            fn from_saved(saved: &ParamValue) -> Option<Self> {
                match saved {
                    ParamValue::$kind(value) => Some(*value),
                    _ => None,
                }
            }
        }
    };
}

saved_as!(f32, F32);
saved_as!(i32, I32);
saved_as!(bool, Bool);

impl<P> Shown for P
where
    P: InternalParamMut,
    P::Plain: Saved,
{
    fn shown_name(&self) -> &str {
        self.name()
    }

    fn text_of(&self, normalized: f32) -> String {
        self.normalized_value_to_string(normalized, true)
    }

    fn value_of(&self, text: &str) -> Option<f32> {
        self.string_to_normalized_value(text)
    }

    fn normalized_default(&self) -> f32 {
        self.default_normalized_value()
    }

    fn steps(&self) -> Option<usize> {
        self.step_count()
    }

    fn host_flags(&self) -> nice_plug::prelude::ParamFlags {
        self.flags()
    }

    fn normalized(&self) -> f32 {
        self.unmodulated_normalized_value()
    }

    fn nearest(&self, normalized: f32) -> f32 {
        // As it is shown, so it is meant.
        let normalized = normalized.clamp(0.0, 1.0);
        self.value_of(&self.text_of(normalized))
            .unwrap_or(normalized)
    }

    fn begin(&self, host: &ParamSetter) {
        host.begin_set_parameter(self);
    }

    fn set(&self, host: &ParamSetter, normalized: f32) {
        host.set_parameter_normalized(self, normalized);
    }

    fn end(&self, host: &ParamSetter) {
        host.end_set_parameter(self);
    }

    fn saved(&self) -> ParamValue {
        self.unmodulated_plain_value().to_saved()
    }

    fn restore(&self, saved: &ParamValue) {
        if let Some(value) = P::Plain::from_saved(saved) {
            set_as_a_wrapper_would(self, value);
        }
    }
}

/// The program opens projects by itself, so it sets parameters as the framework's wrappers do when
/// a host loads a state.
#[expect(
    unsafe_code,
    reason = "marked unsafe to keep plug-ins from setting what belongs to a host; it stores an \
              atomic value and runs the callback, which counts that"
)]
fn set_as_a_wrapper_would<P: InternalParamMut>(parameter: &P, value: P::Plain) {
    // SAFETY: the program has no host that could miss it.
    unsafe { parameter._internal_set_plain_value(value) };
}

/// The unit of levels against full scale.
pub const DECIBELS: Unit = Unit {
    one: "dB",
    many: "dB",
};

/// The unit of shares and levels.
pub const PERCENT: Unit = Unit {
    one: "%",
    many: "%",
};

/// The unit of ratios.
pub const TO_ONE: Unit = Unit {
    one: "to 1",
    many: "to 1",
};

impl Unit {
    /// A word that takes an s for many.
    pub const fn new(one: &'static str, many: &'static str) -> Self {
        Self { one, many }
    }

    /// The word for that many.
    fn of(&self, count: f64) -> &'static str {
        if count.abs() == 1.0 {
            self.one
        } else {
            self.many
        }
    }

    /// Whether a word is this unit; none at all will do.
    fn is(&self, word: &str) -> bool {
        let percent = self == &PERCENT && word == "percent";
        let written = [self.one, self.many].iter().any(|unit| plain(unit) == word);
        percent || written || word.is_empty()
    }
}

fn int_range(range: RangeInclusive<i32>) -> IntRange {
    IntRange::Linear {
        min: *range.start(),
        max: *range.end(),
    }
}

fn automation(parameter: IntParam, automatable: bool) -> IntParam {
    if automatable {
        parameter
    } else {
        parameter.non_automatable()
    }
}

/// "-12.5 dB" is -12.5 and "db". A comma may stand for the point.
fn number_and_unit(text: &str) -> Option<(f64, String)> {
    let text = plain(text).replace(',', ".");
    let of_number = |letter: char| letter.is_ascii_digit() || "+-.".contains(letter);
    let end = text.find(|letter| !of_number(letter)).unwrap_or(text.len());
    let number: f64 = text[..end].parse().ok()?;
    Some((number, text[end..].to_owned()))
}
