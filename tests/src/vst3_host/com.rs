//! What a plug-in asks of its host: event lists, parameter queues, a stream, a name, a notebook for
//! edits. Each is a plain Rust value behind the interface of the standard.

use std::cell::{Cell, RefCell};
use std::ffi::c_void;
use std::sync::Mutex;
use std::sync::atomic::{AtomicI32, AtomicUsize, Ordering};
use std::thread::ThreadId;
use vst3::Steinberg::Vst::*;
use vst3::Steinberg::*;
use vst3::{Class, ComWrapper};

/// The host itself, as it introduces itself.
pub(super) struct Application;

impl Class for Application {
    type Interfaces = (IHostApplication,);
}

impl IHostApplicationTrait for Application {
    unsafe fn getName(&self, name: *mut String128) -> tresult {
        // SAFETY: the plug-in hands over room for one name.
        let name = unsafe { &mut *name };
        name.fill(0);
        for (place, letter) in name.iter_mut().zip("Procession's test host".encode_utf16()) {
            *place = letter;
        }
        kResultOk
    }

    unsafe fn createInstance(&self, _: *mut TUID, _: *mut TUID, made: *mut *mut c_void) -> tresult {
        // SAFETY: the plug-in hands over room for one pointer.
        unsafe { *made = std::ptr::null_mut() };
        kNotImplemented
    }
}

/// What a hand did to a parameter in the plug-in's own window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edit {
    /// The number of the parameter.
    pub parameter: u32,
    /// What was done.
    pub kind: EditKind,
    /// Whether it was told on the thread that made the plug-in, as VST3 wants it.
    pub on_main_thread: bool,
}

/// The parts of a gesture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum EditKind {
    /// The hand is laid on.
    Begin,
    /// The parameter is moved to this normalised value.
    Set(f64),
    /// The hand is taken off.
    End,
}

/// Takes down what the plug-in tells its host between blocks.
pub(super) struct Notebook {
    main: ThreadId,
    pub(super) edits: Mutex<Vec<Edit>>,
    /// All restart flags ever asked for.
    pub(super) restarts: AtomicI32,
}

impl Notebook {
    pub(super) fn new() -> ComWrapper<Self> {
        ComWrapper::new(Self {
            main: std::thread::current().id(),
            edits: Mutex::new(Vec::new()),
            restarts: AtomicI32::new(0),
        })
    }

    fn note(&self, parameter: u32, kind: EditKind) -> tresult {
        let on_main_thread = std::thread::current().id() == self.main;
        match self.edits.lock() {
            Ok(mut edits) => edits.push(Edit {
                parameter,
                kind,
                on_main_thread,
            }),
            Err(_) => return kInternalError,
        }
        kResultOk
    }
}

impl Class for Notebook {
    type Interfaces = (IComponentHandler,);
}

impl IComponentHandlerTrait for Notebook {
    unsafe fn beginEdit(&self, id: ParamID) -> tresult {
        self.note(id, EditKind::Begin)
    }

    unsafe fn performEdit(&self, id: ParamID, value: ParamValue) -> tresult {
        self.note(id, EditKind::Set(value))
    }

    unsafe fn endEdit(&self, id: ParamID) -> tresult {
        self.note(id, EditKind::End)
    }

    unsafe fn restartComponent(&self, flags: int32) -> tresult {
        self.restarts.fetch_or(flags, Ordering::Relaxed);
        kResultOk
    }
}

/// The events of one block, in one direction. It never grows: when it is full the plug-in is
/// told so.
pub(super) struct EventList {
    pub(super) events: RefCell<Vec<Event>>,
    pub(super) room: usize,
    pub(super) refused: AtomicUsize,
}

impl EventList {
    pub(super) fn of(events: Vec<Event>) -> ComWrapper<Self> {
        let room = events.len();
        Self::new(events, room)
    }

    pub(super) fn with_room(room: usize) -> ComWrapper<Self> {
        Self::new(Vec::with_capacity(room), room)
    }

    fn new(events: Vec<Event>, room: usize) -> ComWrapper<Self> {
        ComWrapper::new(Self {
            events: RefCell::new(events),
            room,
            refused: AtomicUsize::new(0),
        })
    }
}

impl Class for EventList {
    type Interfaces = (IEventList,);
}

impl IEventListTrait for EventList {
    unsafe fn getEventCount(&self) -> int32 {
        self.events.borrow().len() as int32
    }

    unsafe fn getEvent(&self, index: int32, event: *mut Event) -> tresult {
        match self.events.borrow().get(index as usize) {
            // SAFETY: the plug-in hands over room for one event.
            Some(found) => unsafe { event.write(*found) },
            None => return kInvalidArgument,
        }
        kResultOk
    }

    unsafe fn addEvent(&self, event: *mut Event) -> tresult {
        let mut events = self.events.borrow_mut();
        if events.len() >= self.room {
            self.refused.fetch_add(1, Ordering::Relaxed);
            return kResultFalse;
        }
        // SAFETY: the plug-in hands over one event.
        events.push(unsafe { *event });
        kResultOk
    }
}

/// The course of one parameter within a block.
pub(super) struct Queue {
    pub(super) parameter: u32,
    pub(super) points: RefCell<Vec<(i32, f64)>>,
}

impl Class for Queue {
    type Interfaces = (IParamValueQueue,);
}

impl IParamValueQueueTrait for Queue {
    unsafe fn getParameterId(&self) -> ParamID {
        self.parameter
    }

    unsafe fn getPointCount(&self) -> int32 {
        self.points.borrow().len() as int32
    }

    unsafe fn getPoint(&self, index: int32, frame: *mut int32, value: *mut ParamValue) -> tresult {
        match self.points.borrow().get(index as usize) {
            // SAFETY: the plug-in hands over room for both.
            Some(point) => unsafe { (*frame, *value) = *point },
            None => return kInvalidArgument,
        }
        kResultOk
    }

    unsafe fn addPoint(&self, frame: int32, value: ParamValue, index: *mut int32) -> tresult {
        let mut points = self.points.borrow_mut();
        points.push((frame, value));
        // SAFETY: null, or room for one number.
        if let Some(index) = unsafe { index.as_mut() } {
            *index = points.len() as int32 - 1;
        }
        kResultOk
    }
}

/// The courses of all parameters that move within a block.
pub(super) struct Changes(pub(super) RefCell<Vec<ComWrapper<Queue>>>);

impl Changes {
    pub(super) fn none() -> ComWrapper<Self> {
        ComWrapper::new(Self(RefCell::new(Vec::new())))
    }

    /// One more point, after the others of its parameter.
    pub(super) fn add(&self, parameter: u32, frame: i32, value: f64) {
        let index = self.queue(parameter);
        self.0.borrow()[index]
            .points
            .borrow_mut()
            .push((frame, value));
    }

    fn queue(&self, parameter: u32) -> usize {
        let mut queues = self.0.borrow_mut();
        queues
            .iter()
            .position(|queue| queue.parameter == parameter)
            .unwrap_or_else(|| {
                queues.push(ComWrapper::new(Queue {
                    parameter,
                    points: RefCell::new(Vec::new()),
                }));
                queues.len() - 1
            })
    }

    fn pointer(&self, index: usize) -> *mut IParamValueQueue {
        self.0
            .borrow()
            .get(index)
            .and_then(|queue| queue.as_com_ref::<IParamValueQueue>())
            .map_or(std::ptr::null_mut(), |queue| queue.as_ptr())
    }
}

impl Class for Changes {
    type Interfaces = (IParameterChanges,);
}

impl IParameterChangesTrait for Changes {
    unsafe fn getParameterCount(&self) -> int32 {
        self.0.borrow().len() as int32
    }

    unsafe fn getParameterData(&self, index: int32) -> *mut IParamValueQueue {
        self.pointer(index as usize)
    }

    unsafe fn addParameterData(
        &self,
        id: *const ParamID,
        index: *mut int32,
    ) -> *mut IParamValueQueue {
        // SAFETY: the plug-in hands over one number.
        let place = self.queue(unsafe { *id });
        // SAFETY: null, or room for one number.
        if let Some(index) = unsafe { index.as_mut() } {
            *index = place as int32;
        }
        self.pointer(place)
    }
}

/// Bytes to write a state to and read it from.
pub(super) struct Stream {
    pub(super) bytes: RefCell<Vec<u8>>,
    position: Cell<usize>,
}

impl Stream {
    pub(super) fn of(bytes: &[u8]) -> ComWrapper<Self> {
        ComWrapper::new(Self {
            bytes: RefCell::new(bytes.to_vec()),
            position: Cell::new(0),
        })
    }
}

impl Class for Stream {
    type Interfaces = (IBStream,);
}

impl IBStreamTrait for Stream {
    unsafe fn read(&self, buffer: *mut c_void, length: int32, done: *mut int32) -> tresult {
        let bytes = self.bytes.borrow();
        let rest = &bytes[self.position.get().min(bytes.len())..];
        let taken = rest.len().min(usize::try_from(length).unwrap_or(0));
        // SAFETY: the plug-in hands over room for `length` bytes, of which `taken` are filled.
        unsafe { std::ptr::copy_nonoverlapping(rest.as_ptr(), buffer.cast(), taken) };
        self.position.set(self.position.get() + taken);
        // SAFETY: null, or room for one number.
        if let Some(done) = unsafe { done.as_mut() } {
            *done = taken as int32;
        }
        kResultOk
    }

    unsafe fn write(&self, buffer: *mut c_void, length: int32, done: *mut int32) -> tresult {
        let length = usize::try_from(length).unwrap_or(0);
        let given = match length {
            0 => &[],
            // SAFETY: the plug-in hands over `length` bytes.
            _ => unsafe { std::slice::from_raw_parts(buffer.cast::<u8>(), length) },
        };
        let mut bytes = self.bytes.borrow_mut();
        let (start, end) = (self.position.get(), self.position.get() + length);
        if bytes.len() < end {
            bytes.resize(end, 0);
        }
        bytes[start..end].copy_from_slice(given);
        self.position.set(end);
        // SAFETY: null, or room for one number.
        if let Some(done) = unsafe { done.as_mut() } {
            *done = length as int32;
        }
        kResultOk
    }

    unsafe fn seek(&self, offset: int64, mode: int32, result: *mut int64) -> tresult {
        let length = self.bytes.borrow().len() as int64;
        let origin = match mode {
            0 => 0,
            1 => self.position.get() as int64,
            2 => length,
            _ => return kInvalidArgument,
        };
        let Ok(place) = usize::try_from(origin + offset) else {
            return kInvalidArgument;
        };
        self.position.set(place);
        // SAFETY: null, or room for one number.
        if let Some(result) = unsafe { result.as_mut() } {
            *result = place as int64;
        }
        kResultOk
    }

    unsafe fn tell(&self, position: *mut int64) -> tresult {
        // SAFETY: the plug-in hands over room for one number.
        unsafe { *position = self.position.get() as int64 };
        kResultOk
    }
}
