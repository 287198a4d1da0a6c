//go:build !linux

package port

import "time"

func fineSleep(d time.Duration) { time.Sleep(d) }
