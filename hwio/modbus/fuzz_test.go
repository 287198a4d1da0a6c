package modbus

import (
	"bytes"
	"reflect"
	"testing"
)

func seedFrames(f *testing.F) {
	for _, example := range specExamples() {
		f.Add(bytesOf(f, example.request))
		f.Add(bytesOf(f, example.reply))
		f.Add(EncodeRTU(0x11, bytesOf(f, example.request)))
		f.Add(EncodeTCP(1, 0x11, bytesOf(f, example.reply)))
	}
	f.Add([]byte{0x81, 2})
	f.Add([]byte{})
}

// FuzzServe: any PDU gets exactly one answer, which is a valid answer to it.
func FuzzServe(f *testing.F) {
	seedFrames(f)
	f.Fuzz(func(t *testing.T, pdu []byte) {
		answer := Serve(NewImage(300, 300, 50, 50), pdu)
		if len(answer) < 2 || len(answer) > PDULimit {
			t.Fatalf("% X answered by % X", pdu, answer)
		}
		request, exception := DecodeRequest(pdu)
		if exception != 0 {
			if answer[0]&failed == 0 || answer[1] != byte(exception) {
				t.Fatalf("% X is %v, answered by % X", pdu, exception, answer)
			}
			return
		}
		reply, err := DecodeReply(request, answer)
		if err != nil {
			t.Fatalf("% X answered by % X: %v", pdu, answer, err)
		}
		if !bytes.Equal(reply.Encode(), answer) {
			t.Fatalf("% X encodes back to % X", answer, reply.Encode())
		}
		if request.Check() == nil {
			// Not the same bytes: a master may leave rubbish in the padding bits of 0F, which no coil sees.
			again, err := request.Encode()
			same, refused := DecodeRequest(again)
			if err != nil || refused != 0 || !reflect.DeepEqual(same, request) || len(again) != len(pdu) {
				t.Fatalf("% X encodes back to % X (%v, %v)", pdu, again, err, refused)
			}
		}
	})
}

// FuzzReply: whatever is taken for an answer encodes back to the same bytes.
func FuzzReply(f *testing.F) {
	for _, example := range specExamples() {
		f.Add(bytesOf(f, example.request), bytesOf(f, example.reply))
	}
	f.Fuzz(func(t *testing.T, asked, pdu []byte) {
		request, exception := DecodeRequest(asked)
		if exception != 0 {
			return
		}
		reply, err := DecodeReply(request, pdu)
		if err == nil && !bytes.Equal(reply.Encode(), pdu) {
			t.Fatalf("% X encodes back to % X", pdu, reply.Encode())
		}
	})
}

// FuzzStream: searching any stream ends, stays inside it, and finds only frames with a right check sum.
func FuzzStream(f *testing.F) {
	seedFrames(f)
	f.Fuzz(func(t *testing.T, heard []byte) {
		if unit, pdu, start, end, found := FindRequest(heard); found {
			if !bytes.Equal(EncodeRTU(unit, pdu), heard[start:end]) {
				t.Fatalf("found % X in % X", pdu, heard)
			}
		}
		for _, example := range specExamples() {
			if _, start, end, found := FindReply(heard, 0x11, example.question); found && CRC(heard[start:end]) != 0 {
				t.Fatalf("found % X", heard[start:end])
			}
		}
		rest := heard
		for {
			frame, after, err := TakeTCP(rest)
			if err != nil || frame == nil {
				return
			}
			if !bytes.Equal(EncodeTCP(frame.Transaction, frame.Unit, frame.PDU), rest[:len(rest)-len(after)]) {
				t.Fatalf("% X", rest)
			}
			rest = after
		}
	})
}
