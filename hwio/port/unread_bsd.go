//go:build darwin || freebsd || openbsd

package port

// howMuchUnread is the question for what a descriptor holds unread: FIONREAD, _IOR('f', 127, int) of sys/filio.h, which
// golang.org/x/sys/unix lacks.
const howMuchUnread = 0x4004667f
