package port

import "golang.org/x/sys/unix"

// howMuchUnread is the question for what a descriptor holds unread.
const howMuchUnread = unix.TIOCINQ
