// to be filled
