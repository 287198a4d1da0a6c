// Package modbus speaks to relay and input modules: short numbered questions on a shared party line, where only the
// one who is called may answer, and every sentence ends with a check sum.
//
// Four layers, the first three of them pure:
//
//	pdu.go     questions and answers (functions 01 02 03 04 05 06 0F 10 and exceptions), both directions
//	rtu.go     one sentence on a serial line: address, PDU, CRC; finding it among noise
//	mbap.go    one sentence on TCP
//	client.go  asking over a port, one at a time; server.go answers the same PDUs from a memory (for the twin)
//
// # Late answers
//
// RTU has no transaction number. An answer that comes after its question was given up looks exactly like the answer to
// the next question of the same shape, and then an old state of an input is taken for the new one. The client does this:
//
//  1. An answer must match address, function and byte count (reads) or echo address and value (writes), with padding
//     bits zero; anything else is passed over as stray and the waiting goes on.
//  2. After a question that got no valid answer the client listens, before it speaks again, until the late answer has
//     come or Late has passed since it gave up (once per lost question).
//  3. If the late answer was not heard even then, a later answer that could also be the old one is returned with Doubt
//     set, until an answer of the same device arrives that the lost question could not have caused (a device serves
//     questions in order, so that one is the fence), or until Late has passed once more without a superfluous answer.
//  4. With RefuseEarly (real wires only) bytes seen before the question can have left the wire are nobody's answer.
//
// What remains: a device, gateway or adapter that keeps an answer longer than Late, or serves out of order, can still
// hand an old value to a question of the same shape. Doubt is then set on the first such answer, but a caller who
// ignores Doubt is fooled. A timing judgement must discard answers with Doubt.
package modbus
