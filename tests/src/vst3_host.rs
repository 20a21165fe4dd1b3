//! A VST3 host in a few verbs, beside the CLAP one in [`crate::host`] and with the same words:
//! blocks, events, transport.
//!
//! ```no_run
//! use procession_tests::host::{Block, Event};
//! use procession_tests::vst3_host::{Module, Setup};
//! # fn main() -> Result<(), procession_tests::host::Error> {
//! let module = Module::open("target/bundled/Procession.vst3".as_ref())?;
//! let mut plugin = module.first_plugin()?.start(Setup::default())?;
//! let block = Block::of(64).event(10, Event::note_on(0, 60, 0.8));
//! for heard in plugin.process(&block)? {
//!     println!("{} {:?}", heard.frame, heard.event);
//! }
//! # Ok(()) }
//! ```
//!
//! Two things differ from CLAP. A parameter's value is normalised, 0 ..= 1. And a controller
//! arrives as a hidden parameter that the plug-in names (`IMidiMapping`), but leaves as an event.
//!
//! A misbehaving plug-in takes its host down with it. Try a dangerous thing in a child process.

// A plug-in is a table of C++ functions: every call into it, and every call it makes back into
// this host, goes through raw pointers that no compiler can check. This module and those below
// it take the plug-in on trust, as any host must; what they offer is safe.
#![allow(unsafe_code)]

mod audio;
mod com;
#[cfg(target_os = "linux")]
mod editor;

pub use audio::{Audio, Buses};
pub use com::{Edit, EditKind};
#[cfg(target_os = "linux")]
pub use editor::{Editor, RunLoop};

use crate::host::{Block, Error, Timed};
use com::{Application, Notebook, Stream};
use std::ffi::{CStr, c_char, c_void};
use std::ops::{Deref, DerefMut};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use vst3::Steinberg::Vst::*;
use vst3::Steinberg::*;
use vst3::{ComPtr, ComWrapper, Interface};

/// A bundle, opened.
pub struct Module {
    // First, for it is dropped first: no class may outlive its library.
    factory: ComPtr<IPluginFactory>,
    library: Arc<OpenLibrary>,
}

/// What a bundle says of one of its classes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClassInfo {
    /// The identity that saved projects keep.
    pub id: [u8; 16],
    /// `Audio Module Class` for a plug-in.
    pub category: String,
    /// What the user reads.
    pub name: String,
    /// Where a host files it: `Fx|Instrument`.
    pub subcategories: String,
    /// Who made it.
    pub vendor: String,
    /// Its version.
    pub version: String,
    /// The version of the standard it was built with.
    pub sdk: String,
}

impl Module {
    /// Opens a bundle (`Procession.vst3`), or the library inside one. Tried on Linux only.
    ///
    /// # Errors
    /// There is none, or it is no VST3 bundle for this system.
    pub fn open(path: &Path) -> Result<Self, Error> {
        if !path.exists() {
            return Err(Error::new(format!(
                "there is no plug-in at {}: build it with `cargo xtask bundle --debug` (for tests) or `cargo xtask bundle`",
                path.display()
            )));
        }
        let library = OpenLibrary::open(&library_inside(path)?)?;
        let factory = library.factory()?;
        Ok(Self { factory, library })
    }

    /// The bundle that `cargo xtask test` has built, or `cargo xtask bundle --debug`, or failing
    /// that the one of `cargo xtask bundle`. The variable `PROCESSION_VST3` names another.
    ///
    /// # Errors
    /// As for [`Module::open`].
    pub fn built() -> Result<Self, Error> {
        Self::open(&built_bundle()?)
    }

    /// The classes inside, in the bundle's order.
    pub fn classes(&self) -> Vec<ClassInfo> {
        let Some(factory) = self.factory.cast::<IPluginFactory2>() else {
            return Vec::new();
        };
        // SAFETY: the factory fills a plain structure whose every bit pattern is valid.
        let count = unsafe { factory.countClasses() };
        (0..count)
            .filter_map(|index| unsafe {
                let mut info: PClassInfo2 = std::mem::zeroed();
                (factory.getClassInfo2(index, &mut info) == kResultOk)
                    .then(|| ClassInfo::read(&info))
            })
            .collect()
    }

    /// A new instance of the first plug-in in the bundle.
    ///
    /// # Errors
    /// There is none, or it does not initialise.
    pub fn first_plugin(&self) -> Result<Plugin, Error> {
        self.first_plugin_with(Context::Given)
    }

    /// As [`Module::first_plugin`], by a host that does or does not introduce itself.
    ///
    /// # Errors
    /// As for [`Module::first_plugin`].
    pub fn first_plugin_with(&self, context: Context) -> Result<Plugin, Error> {
        let class = self
            .classes()
            .into_iter()
            .find(|class| class.category == "Audio Module Class")
            .ok_or_else(|| Error::new("the bundle holds no plug-in"))?;
        Plugin::new(self, &class, context)
    }

    fn create<I: Interface>(&self, class: &[u8; 16]) -> Option<ComPtr<I>> {
        let mut made = std::ptr::null_mut();
        // SAFETY: both ids are 16 bytes, and what comes back is of the interface asked for.
        unsafe {
            let result = self.factory.createInstance(
                class.as_ptr().cast::<c_char>(),
                I::IID.as_ptr().cast::<c_char>(),
                &mut made,
            );
            match result == kResultOk {
                true => ComPtr::from_raw(made.cast::<I>()),
                false => None,
            }
        }
    }
}

impl ClassInfo {
    fn read(info: &PClassInfo2) -> Self {
        Self {
            id: info.cid.map(|byte| byte as u8),
            category: text(&info.category),
            name: text(&info.name),
            subcategories: text(&info.subCategories),
            vendor: text(&info.vendor),
            version: text(&info.version),
            sdk: text(&info.sdkVersion),
        }
    }
}

/// Whether the host introduces itself when it initialises a plug-in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Context {
    /// It does, as the standard wants it.
    Given,
    /// It hands over a null pointer.
    Missing,
}

/// What is agreed upon before processing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setup {
    /// Hertz.
    pub sample_rate: f64,
    /// Frames of the longest block.
    pub max_frames: u32,
}

impl Default for Setup {
    /// 48 kHz, blocks of up to 4096 frames.
    fn default() -> Self {
        Self {
            sample_rate: 48_000.0,
            max_frames: 4096,
        }
    }
}

/// One parameter, as the plug-in describes it to a host.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// The host's number for it.
    pub number: u32,
    /// What the user reads.
    pub name: String,
    /// Steps between the least and the greatest value; 0 is continuous.
    pub steps: i32,
    /// Normalised.
    pub default: f64,
    /// Whether a host may record and play back its course.
    pub automatable: bool,
    /// Whether the user never sees it; the controllers of `IMidiMapping` are such.
    pub hidden: bool,
}

/// A saved project's share for this plug-in: VST3 keeps one part for each of its halves.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Saved {
    /// The part of the processing half. Ours is all in here.
    pub component: Vec<u8>,
    /// The part of the editing half, if it keeps one.
    pub controller: Option<Vec<u8>>,
}

/// A plug-in, initialised: what belongs to the main thread. Its two halves are one object here,
/// as they are in every plug-in this host was written for.
pub struct Plugin {
    controller: ComPtr<IEditController>,
    component: ComPtr<IComponent>,
    notebook: ComWrapper<Notebook>,
    _application: ComWrapper<Application>,
    // Last: the code goes when the object is gone.
    _library: Arc<OpenLibrary>,
}

impl Plugin {
    fn new(module: &Module, class: &ClassInfo, context: Context) -> Result<Self, Error> {
        let refusal = |what: &str| Error::new(format!("\"{}\" {what}", class.name));
        let component = module
            .create::<IComponent>(&class.id)
            .ok_or_else(|| refusal("cannot be made"))?;
        let application = ComWrapper::new(Application);
        let introduction = match context {
            Context::Given => application
                .as_com_ref::<IHostApplication>()
                .map_or(std::ptr::null_mut(), |host| host.as_ptr().cast()),
            Context::Missing => std::ptr::null_mut(),
        };
        // SAFETY: null or a live object of ours, kept as long as the plug-in.
        if unsafe { component.initialize(introduction) } != kResultOk {
            return Err(refusal("does not initialise"));
        }
        let controller = component
            .cast::<IEditController>()
            .ok_or_else(|| refusal("keeps its halves apart, which this host does not manage"))?;
        let notebook = Notebook::new();
        let handler = notebook
            .as_com_ref::<IComponentHandler>()
            .map_or(std::ptr::null_mut(), |notebook| notebook.as_ptr());
        // SAFETY: a live object of ours, kept as long as the plug-in.
        unsafe { controller.setComponentHandler(handler) };
        Ok(Self {
            controller,
            component,
            notebook,
            _application: application,
            _library: module.library.clone(),
        })
    }

    /// Prepares for processing, and begins.
    ///
    /// # Errors
    /// The plug-in declines.
    pub fn start(self, setup: Setup) -> Result<Playing, Error> {
        let audio = Audio::start(&self, setup)?;
        Ok(Playing {
            audio,
            plugin: self,
        })
    }

    /// Every parameter, in the plug-in's order, the hidden ones too.
    pub fn parameters(&self) -> Vec<Parameter> {
        // SAFETY: the controller fills a plain structure whose every bit pattern is valid.
        let count = unsafe { self.controller.getParameterCount() };
        (0..count)
            .filter_map(|index| unsafe {
                let mut info: ParameterInfo = std::mem::zeroed();
                (self.controller.getParameterInfo(index, &mut info) == kResultOk)
                    .then(|| Parameter::read(&info))
            })
            .collect()
    }

    /// One parameter, by the name the user reads.
    ///
    /// # Errors
    /// There is none of that name; the message lists those there are.
    pub fn parameter(&self, name: &str) -> Result<Parameter, Error> {
        let all = self.parameters();
        all.iter()
            .find(|parameter| parameter.name == name)
            .cloned()
            .ok_or_else(|| {
                let shown = all.iter().filter(|each| !each.hidden);
                let names: Vec<_> = shown.map(|each| each.name.as_str()).collect();
                Error::new(format!(
                    "there is no parameter \"{name}\"; there are: {}",
                    names.join(", ")
                ))
            })
    }

    /// The normalised value that the editing half shows.
    pub fn value(&self, parameter: u32) -> f64 {
        // SAFETY: plain numbers.
        unsafe { self.controller.getParamNormalized(parameter) }
    }

    /// Tells the editing half of a value, as a host does while it plays automation back. The
    /// processing half learns it by the next block only.
    pub fn show(&mut self, parameter: u32, value: f64) {
        // SAFETY: plain numbers.
        unsafe { self.controller.setParamNormalized(parameter, value) };
    }

    /// How the plug-in writes a normalised value.
    ///
    /// # Errors
    /// The plug-in has no text for it.
    pub fn text_of(&self, parameter: u32, value: f64) -> Result<String, Error> {
        let mut room: String128 = [0; 128];
        // SAFETY: there is room for one name.
        let result = unsafe {
            self.controller
                .getParamStringByValue(parameter, value, &mut room)
        };
        match result == kResultOk {
            true => Ok(wide_text(&room)),
            false => Err(Error::new(format!(
                "the plug-in has no text for {value} of parameter {parameter}"
            ))),
        }
    }

    /// The normalised value that a text typed by the user stands for.
    ///
    /// # Errors
    /// The plug-in does not understand it.
    pub fn value_of(&self, parameter: u32, typed: &str) -> Result<f64, Error> {
        let mut wide: Vec<u16> = typed.encode_utf16().chain([0]).collect();
        let mut value = 0.0;
        // SAFETY: the text ends with a zero, and there is room for one number.
        let result = unsafe {
            self.controller
                .getParamValueByString(parameter, wide.as_mut_ptr(), &mut value)
        };
        match result == kResultOk {
            true => Ok(value),
            false => Err(Error::new(format!(
                "the plug-in does not understand \"{typed}\""
            ))),
        }
    }

    /// The state, as a host keeps it in its project.
    ///
    /// # Errors
    /// The plug-in fails to save.
    pub fn save(&mut self) -> Result<Saved, Error> {
        let component = Stream::of(&[]);
        let controller = Stream::of(&[]);
        // SAFETY: the streams are live objects of ours, and outlast the calls.
        let (saved, extra) = unsafe {
            (
                self.component.getState(pointer(&component)),
                self.controller.getState(pointer(&controller)),
            )
        };
        if saved != kResultOk {
            return Err(Error::new("the plug-in failed to save its state"));
        }
        Ok(Saved {
            component: component.bytes.take(),
            controller: (extra == kResultOk).then(|| controller.bytes.take()),
        })
    }

    /// Gives back a saved state the way a host opens a project: to the processing half, then to
    /// the editing half.
    ///
    /// # Errors
    /// The plug-in refuses it.
    pub fn load(&mut self, saved: &Saved) -> Result<(), Error> {
        // SAFETY: the streams are live objects of ours, and outlast the calls.
        unsafe {
            let stream = Stream::of(&saved.component);
            if self.component.setState(pointer(&stream)) != kResultOk {
                return Err(Error::new("the plug-in refused the state"));
            }
            let stream = Stream::of(&saved.component);
            // Not every controller has a use for it; the answer tells nothing.
            self.controller.setComponentState(pointer(&stream));
            if let Some(bytes) = &saved.controller {
                let stream = Stream::of(bytes);
                self.controller.setState(pointer(&stream));
            }
        }
        Ok(())
    }

    /// What was done to parameters in the plug-in's own window since the last question.
    pub fn edits(&mut self) -> Vec<Edit> {
        self.notebook
            .edits
            .lock()
            .map(|mut edits| std::mem::take(&mut *edits))
            .unwrap_or_default()
    }

    /// The restart flags the plug-in has asked for since it was made, as the standard numbers
    /// them.
    pub fn restarts(&self) -> i32 {
        self.notebook.restarts.load(Ordering::Relaxed)
    }

    /// How many event buses there are, in and out.
    pub fn event_buses(&self) -> (i32, i32) {
        self.buses(MediaTypes_::kEvent)
    }

    /// How many audio buses there are, in and out.
    pub fn audio_buses(&self) -> (i32, i32) {
        self.buses(MediaTypes_::kAudio)
    }

    fn buses(&self, media: MediaTypes) -> (i32, i32) {
        let count = |direction| {
            // SAFETY: plain numbers.
            unsafe {
                self.component
                    .getBusCount(media as MediaType, direction as BusDirection)
            }
        };
        (
            count(BusDirections_::kInput),
            count(BusDirections_::kOutput),
        )
    }

    /// Latency in frames, as told while processing.
    pub fn latency(&self) -> u32 {
        self.component
            .cast::<IAudioProcessor>()
            // SAFETY: a plain number.
            .map_or(0, |processor| unsafe { processor.getLatencySamples() })
    }

    /// Opens the plug-in's own window in a window of ours, on the display that `DISPLAY` names.
    ///
    /// # Errors
    /// There is no display, or the plug-in has no window or does not open it.
    #[cfg(target_os = "linux")]
    pub fn open_editor(&mut self, run_loop: RunLoop) -> Result<Editor, Error> {
        Editor::open(&self.controller, run_loop)
    }
}

impl Drop for Plugin {
    fn drop(&mut self) {
        // SAFETY: the end of what `new` began; processing has stopped.
        unsafe {
            self.controller.setComponentHandler(std::ptr::null_mut());
            self.component.terminate();
        }
    }
}

impl Parameter {
    fn read(info: &ParameterInfo) -> Self {
        let flag = |flag| info.flags & flag != 0;
        Self {
            number: info.id,
            name: wide_text(&info.title),
            steps: info.stepCount,
            default: info.defaultNormalizedValue,
            automatable: flag(ParameterInfo_::ParameterFlags_::kCanAutomate),
            hidden: flag(ParameterInfo_::ParameterFlags_::kIsHidden),
        }
    }
}

/// A plug-in that takes blocks.
pub struct Playing {
    // First, for it is dropped first: processing ends before the plug-in does.
    audio: Audio,
    plugin: Plugin,
}

impl Playing {
    /// One block. What comes back are the plug-in's own events of this block.
    ///
    /// # Errors
    /// See [`Audio::process`].
    pub fn process(&mut self, block: &Block) -> Result<&[Timed], Error> {
        self.audio.process(block)
    }

    /// Opens a project as sequencers do: the state is given back, and then every value that is not
    /// what the plug-in says it is at rest is sent round with the next block, those of the hidden
    /// parameters too, until there is no more room.
    ///
    /// # Errors
    /// The plug-in refuses the state.
    pub fn open_project(&mut self, saved: &Saved) -> Result<(), Error> {
        self.plugin.load(saved)?;
        let parameters = self.plugin.parameters();
        let plugin = &self.plugin;
        let moved = parameters.iter().filter_map(|parameter| {
            let value = plugin.value(parameter.number);
            (value != parameter.default).then_some((parameter.number, value))
        });
        self.audio.believe(moved);
        Ok(())
    }

    /// The two sides apart, so that a test can open the window or load state on the main thread
    /// while another thread processes.
    pub fn split(&mut self) -> (&mut Plugin, &mut Audio) {
        (&mut self.plugin, &mut self.audio)
    }

    /// The audio side: buses, room for events.
    pub fn audio(&mut self) -> &mut Audio {
        &mut self.audio
    }

    /// Ends processing.
    pub fn stop(self) -> Plugin {
        drop(self.audio);
        self.plugin
    }
}

impl Deref for Playing {
    type Target = Plugin;

    fn deref(&self) -> &Plugin {
        &self.plugin
    }
}

impl DerefMut for Playing {
    fn deref_mut(&mut self) -> &mut Plugin {
        &mut self.plugin
    }
}

/// Where the tests look for the bundle.
fn built_bundle() -> Result<PathBuf, Error> {
    if let Some(path) = std::env::var_os("PROCESSION_VST3") {
        return Ok(path.into());
    }
    // A test lies in target/debug/deps.
    let program = std::env::current_exe().map_err(Error::new)?;
    let target = program.ancestors().nth(3).unwrap_or(Path::new("target"));
    let guarded = target.join("bundled-debug/Procession.vst3");
    Ok(match guarded.exists() {
        true => guarded,
        false => target.join("bundled/Procession.vst3"),
    })
}

/// The library for this system inside a bundle.
fn library_inside(path: &Path) -> Result<PathBuf, Error> {
    if path.is_file() {
        return Ok(path.to_owned());
    }
    let folder = match std::env::consts::OS {
        "macos" => "MacOS".to_owned(),
        "windows" => format!("{}-win", std::env::consts::ARCH),
        os => format!("{}-{os}", std::env::consts::ARCH),
    };
    let folder = path.join("Contents").join(folder);
    std::fs::read_dir(&folder)
        .ok()
        .and_then(|mut files| files.next()?.ok())
        .map(|file| file.path())
        .ok_or_else(|| Error::new(format!("{} holds no library", folder.display())))
}

/// The loaded code. Dropping it says good-bye before the code goes.
struct OpenLibrary(libloading::Library);

impl OpenLibrary {
    fn open(path: &Path) -> Result<Arc<Self>, Error> {
        let failure = |error| Error::new(format!("{} cannot be loaded: {error}", path.display()));
        // SAFETY: the caller names a VST3 plug-in, and is told so in the contract of `open`; its
        // entry is called once, before anything else, as the standard wants it.
        unsafe {
            let (library, handle) = load(path).map_err(failure)?;
            if let Ok(enter) = library.get::<unsafe extern "C" fn(*mut c_void) -> bool>(ENTER)
                && !enter(handle)
            {
                return Err(Error::new(format!("{} does not start", path.display())));
            }
            Ok(Arc::new(Self(library)))
        }
    }

    fn factory(&self) -> Result<ComPtr<IPluginFactory>, Error> {
        // SAFETY: the name and type that the standard gives; the pointer is ours to release.
        unsafe {
            let get = self
                .0
                .get::<unsafe extern "system" fn() -> *mut IPluginFactory>(b"GetPluginFactory\0")
                .map_err(|_| Error::new("the library exports no GetPluginFactory"))?;
            ComPtr::from_raw(get()).ok_or_else(|| Error::new("the library has no factory"))
        }
    }
}

impl Drop for OpenLibrary {
    fn drop(&mut self) {
        // SAFETY: every object of the library is gone: each keeps the library alive.
        unsafe {
            if let Ok(leave) = self.0.get::<unsafe extern "C" fn() -> bool>(LEAVE) {
                leave();
            }
        }
    }
}

#[cfg(target_os = "linux")]
const ENTER: &[u8] = b"ModuleEntry\0";
#[cfg(target_os = "linux")]
const LEAVE: &[u8] = b"ModuleExit\0";
#[cfg(target_os = "macos")]
const ENTER: &[u8] = b"bundleEntry\0";
#[cfg(target_os = "macos")]
const LEAVE: &[u8] = b"bundleExit\0";
#[cfg(target_os = "windows")]
const ENTER: &[u8] = b"InitDll\0";
#[cfg(target_os = "windows")]
const LEAVE: &[u8] = b"ExitDll\0";

/// The library, and the handle its entry wants to see.
#[cfg(unix)]
unsafe fn load(path: &Path) -> Result<(libloading::Library, *mut c_void), libloading::Error> {
    use libloading::os::unix::{Library, RTLD_LOCAL, RTLD_NOW};
    // SAFETY: as for the caller; the handle is only passed on.
    unsafe {
        let handle = Library::open(Some(path), RTLD_NOW | RTLD_LOCAL)?.into_raw();
        Ok((Library::from_raw(handle).into(), handle))
    }
}

/// The library; its entry takes no handle on this system.
#[cfg(windows)]
unsafe fn load(path: &Path) -> Result<(libloading::Library, *mut c_void), libloading::Error> {
    // SAFETY: as for the caller.
    let library = unsafe { libloading::Library::new(path)? };
    Ok((library, std::ptr::null_mut()))
}

fn pointer(stream: &ComWrapper<Stream>) -> *mut IBStream {
    stream
        .as_com_ref::<IBStream>()
        .map_or(std::ptr::null_mut(), |stream| stream.as_ptr())
}

/// Text up to its zero.
fn text(letters: &[c_char]) -> String {
    let bytes: Vec<u8> = letters.iter().map(|letter| *letter as u8).collect();
    CStr::from_bytes_until_nul(&bytes)
        .map(|text| text.to_string_lossy().into_owned())
        .unwrap_or_else(|_| String::from_utf8_lossy(&bytes).into_owned())
}

/// Wide text up to its zero.
fn wide_text(letters: &[u16]) -> String {
    let length = letters.iter().position(|letter| *letter == 0);
    String::from_utf16_lossy(&letters[..length.unwrap_or(letters.len())])
}
