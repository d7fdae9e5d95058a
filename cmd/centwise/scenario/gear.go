package scenario

import "centwise/catalog"

// Trumpets take trumpet shanks, the cornet and the flugelhorn their own. Throws
// and bores are middling values of the trade (common practice, no source).
func horns() []horn {
	trumpet := func(label, maker, model, serial string, throw1, throw3 float64, loaner bool, tags string) horn {
		return horn{label: label, maker: maker, model: model, serial: serial, instrument: catalog.Trumpet, key: "Bb",
			receiver: catalog.ShankTrumpet, boreMM: 11.7, throw1MM: throw1, throw3MM: throw3, loaner: loaner, tags: tags}
	}
	rowan := trumpet("Rowan", "Tidewright", "Skerry", "0158", 12, 20, true, "cupboard")
	list := []horn{
		trumpet("Alder", "Tidewright", "Skerry", "0142", 12, 20, true, "cupboard"),
		rowan,
		trumpet("Hazel", "Tidewright", "Skerry", "0161", 12, 20, true, "cupboard"),
		trumpet("Aspen", "Tidewright", "Foreland", "0067", 0, 18, true, "cupboard"),
		trumpet("Birch", "Tidewright", "Foreland", "0071", 0, 18, true, "cupboard"),
		trumpet("Elm", "Northlamp", "Spindrift", "2204", 14, 22, true, "cupboard"),
		trumpet("Larch", "Northlamp", "Spindrift", "2209", 14, 22, true, "cupboard"),
		trumpet("Hawthorn", "Northlamp", "Breakwater", "2031", 0, 16, true, "cupboard"),
		trumpet("Holly", "Northlamp", "Breakwater", "2047", 0, 16, false, ""),
		trumpet("Linden", "Tidewright", "Lamplight", "0311", 14, 22, false, ""),
		trumpet("Maple", "Northlamp", "Headland", "2300", 13, 21, false, ""),
	}
	willow := trumpet("Willow", "Tidewright", "Lamplight in C", "0402", 14, 22, false, "")
	willow.key = "C"
	juniper := trumpet("Juniper", "Northlamp", "Cove", "2512", 0, 18, true, "cupboard")
	juniper.instrument, juniper.receiver = catalog.Cornet, catalog.ShankCornet
	yew := trumpet("Yew", "Tidewright", "Longshore", "0510", 0, 15, false, "")
	yew.instrument, yew.receiver, yew.boreMM = catalog.Flugelhorn, catalog.ShankFlugelhorn, 10.5
	return append(list, willow, juniper, yew)
}

// Mouthpieces are named after shore birds and their rim in millimetres.
func mouthpieces() []mouthpiece {
	piece := func(label, maker, model, serial string, rim, cup, throat, throatLength, backbore, length float64, stock string) mouthpiece {
		return mouthpiece{label: label, maker: maker, model: model, serial: serial, shank: catalog.ShankTrumpet, rimMM: rim, cupCM3: cup,
			throatMM: throat, throatLengthMM: throatLength, backboreMM: backbore, lengthMM: length, stock: stock}
	}
	list := []mouthpiece{
		piece("Plover 16.2", "Northlamp", "Plover 16.2", "A", 16.2, 1.10, 3.65, 10, 8.6, 87, "cupboard"),
		piece("Plover 16.2 second", "Northlamp", "Plover 16.2", "B", 16.2, 1.10, 3.65, 10, 8.6, 87, "cupboard"),
		piece("Plover 16.2 third", "Northlamp", "Plover 16.2", "C", 16.2, 1.10, 3.65, 10, 8.6, 87, "cupboard"),
		piece("Dunlin 16.6", "Northlamp", "Dunlin 16.6", "A", 16.6, 1.24, 3.66, 10, 8.7, 87, "cupboard"),
		piece("Dunlin 16.6 second", "Northlamp", "Dunlin 16.6", "B", 16.6, 1.24, 3.66, 10, 8.7, 87, "cupboard"),
		piece("Curlew 17.0", "Tidewright", "Curlew 17.0", "1", 17.0, 1.42, 3.70, 9, 8.9, 88, "cupboard"),
		piece("Curlew 17.0 second", "Tidewright", "Curlew 17.0", "2", 17.0, 1.42, 3.70, 9, 8.9, 88, ""),
		piece("Knot 16.4", "Tidewright", "Knot 16.4", "1", 16.4, 1.02, 3.60, 11, 8.5, 86, "cupboard"),
		piece("Turnstone 16.0", "Tidewright", "Turnstone 16.0", "1", 16.0, 0.95, 3.62, 10, 8.4, 86, ""),
		piece("Avocet 16.8", "Northlamp", "Avocet 16.8", "A", 16.8, 1.36, 3.72, 9, 8.8, 87, "cupboard"),
		piece("Godwit 16.5", "Tidewright", "Godwit 16.5", "1", 16.5, 1.18, 3.80, 12, 9.0, 88, "quay shop"),
		piece("Sanderling 16.3", "Northlamp", "Sanderling 16.3", "A", 16.3, 1.15, 3.58, 12, 8.5, 87, "quay shop"),
		piece("Whimbrel 16.9", "Tidewright", "Whimbrel 16.9", "1", 16.9, 1.30, 3.68, 8, 8.7, 88, "quay shop"),
		piece("Stilt 16.7", "Northlamp", "Stilt 16.7", "A", 16.7, 1.28, 3.60, 10, 8.6, 87, "quay shop"),
		piece("Ruff 16.0", "Northlamp", "Ruff 16.0", "A", 16.0, 1.50, 3.90, 8, 7.6, 72, "cupboard"),
		piece("Phalarope 16.4", "Tidewright", "Phalarope 16.4", "1", 16.4, 1.60, 3.95, 8, 7.7, 72, ""),
		piece("Snipe 16.3", "Tidewright", "Snipe 16.3", "1", 16.3, 1.90, 4.20, 7, 7.9, 74, ""),
		piece("Dotterel 16.6", "Northlamp", "Dotterel 16.6", "A", 16.6, 2.00, 4.30, 7, 8.0, 74, ""),
	}
	for i := range list {
		switch list[i].label {
		case "Ruff 16.0", "Phalarope 16.4":
			list[i].shank = catalog.ShankCornet
		case "Snipe 16.3", "Dotterel 16.6":
			list[i].shank = catalog.ShankFlugelhorn
		}
	}
	return list
}

// players are handles; who writes down what they play is one of three.
func players() []player {
	return []player{
		{label: "reed-otter", level: "advanced", writesDown: "lamp-keeper"},
		{label: "blue-kite", level: "advanced", writesDown: "lamp-keeper"},
		{label: "moss-heron", level: "intermediate", writesDown: "lamp-keeper"},
		{label: "slate-wren", level: "intermediate", writesDown: "lamp-keeper"},
		{label: "amber-fox", level: "beginner", writesDown: "tide-table"},
		{label: "quiet-gull", level: "intermediate", writesDown: "tide-table"},
		{label: "copper-newt", level: "beginner", writesDown: "tide-table"},
		{label: "misty-hare", level: "advanced", writesDown: "tide-table"},
		{label: "silver-eel", level: "intermediate", writesDown: "harbour-desk"},
		{label: "dusk-owl", level: "advanced", writesDown: "harbour-desk"},
		{label: "salt-crab", level: "beginner", writesDown: "harbour-desk"},
		{label: "fern-vole", level: "advanced", writesDown: "fern-vole"},
	}
}
