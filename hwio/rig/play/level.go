package play

func supplyLevel(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

func level(on bool) string {
	if on {
		return "1"
	}
	return "0"
}
