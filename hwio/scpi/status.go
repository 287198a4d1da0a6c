package scpi

// Bits of the standard event register and of the status byte (IEEE 488.2, SCPI-99).
const (
	eventOperationComplete = 1
	eventQueryError        = 4
	eventDeviceError       = 8
	eventExecutionError    = 16
	eventCommandError      = 32
	eventUserRequest       = 64
	eventPowerOn           = 128

	statusErrorQueue   = 4
	statusQuestionable = 8
	statusEvent        = 32
	statusMaster       = 64
	statusOperation    = 128
)

// register is one SCPI status group: a condition, the events latched from it, and which of them are summed up.
type register struct {
	condition, event, enable uint16
}

// set changes the condition; bits that rise are latched as events.
func (r *register) set(condition uint16) {
	r.event |= condition &^ r.condition
	r.condition = condition
}

func (r *register) summary() bool { return r.event&r.enable != 0 }

// readEvent reads the events, which clears them.
func (r *register) readEvent() uint16 {
	event := r.event
	r.event = 0
	return event
}

// status is all that an instrument tells about itself.
type status struct {
	event, eventEnable, serviceEnable uint8
	questionable, operation           register
	queue                             []Complaint
}

// complaintLimit is the size of the error queue; when it is full its last entry becomes -350.
const complaintLimit = 16

// complain queues an error and sets the event bit of its family.
func (s *status) complain(code int) {
	s.event |= eventOf(code)
	if len(s.queue) >= complaintLimit {
		s.queue[complaintLimit-1] = Complaint{Code: queueOverflow, Text: errorTexts[queueOverflow]}
		return
	}
	s.queue = append(s.queue, Complaint{Code: code, Text: errorTexts[code]})
}

// eventOf is the family of an error number: -1xx command, -2xx execution, -3xx and positive device, -4xx query.
func eventOf(code int) uint8 {
	switch {
	case code > 0:
		return eventDeviceError
	case code <= -100 && code > -200:
		return eventCommandError
	case code <= -200 && code > -300:
		return eventExecutionError
	case code <= -300 && code > -400:
		return eventDeviceError
	case code <= -400 && code > -500:
		return eventQueryError
	case code <= -500 && code > -600:
		return eventPowerOn
	case code <= -600 && code > -700:
		return eventUserRequest
	case code <= -800 && code > -900:
		return eventOperationComplete
	}
	return 0
}

// next takes the oldest error off the queue.
func (s *status) next() Complaint {
	if len(s.queue) == 0 {
		return Complaint{Code: 0, Text: errorTexts[0]}
	}
	oldest := s.queue[0]
	s.queue = s.queue[1:]
	return oldest
}

// byteValue is the status byte as *STB? reads it.
func (s *status) byteValue() uint8 {
	value := uint8(0)
	if len(s.queue) > 0 {
		value |= statusErrorQueue
	}
	if s.questionable.summary() {
		value |= statusQuestionable
	}
	if s.event&s.eventEnable != 0 {
		value |= statusEvent
	}
	if s.operation.summary() {
		value |= statusOperation
	}
	if value&s.serviceEnable&^statusMaster != 0 {
		value |= statusMaster
	}
	return value
}

// clear is *CLS: events and queue, but no enable mask.
func (s *status) clear() {
	s.event = 0
	s.questionable.event, s.operation.event = 0, 0
	s.queue = nil
}

// Error numbers that the instrument here can give.
const (
	invalidCharacter    = -101
	dataTypeError       = -104
	parameterNotAllowed = -108
	missingParameter    = -109
	undefinedHeader     = -113
	invalidSuffix       = -131
	dataOutOfRange      = -222
	queueOverflow       = -350
	inputOverrun        = -363
)

var errorTexts = map[int]string{
	0:                   "No error",
	invalidCharacter:    "Invalid character",
	dataTypeError:       "Data type error",
	parameterNotAllowed: "Parameter not allowed",
	missingParameter:    "Missing parameter",
	undefinedHeader:     "Undefined header",
	invalidSuffix:       "Invalid suffix",
	dataOutOfRange:      "Data out of range",
	queueOverflow:       "Queue overflow",
	inputOverrun:        "Input buffer overrun",
}
