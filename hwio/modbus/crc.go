package modbus

// crcTable holds the remainder for each byte; polynomial A001h, reflected.
var crcTable = func() (table [256]uint16) {
	for index := range table {
		remainder := uint16(index)
		for range 8 {
			if remainder&1 != 0 {
				remainder = remainder>>1 ^ 0xA001
			} else {
				remainder >>= 1
			}
		}
		table[index] = remainder
	}
	return table
}()

// CRC is the check sum of a serial frame: start FFFFh, no final inversion. It goes out low byte first, and the sum over
// a frame with its own sum appended is zero.
func CRC(data []byte) uint16 {
	sum := uint16(0xFFFF)
	for _, b := range data {
		sum = sum>>8 ^ crcTable[byte(sum)^b]
	}
	return sum
}
