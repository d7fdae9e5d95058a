package cli

// How gear is asked for. Ways of measuring are common practice (no source); they
// keep to what does not harm the piece.

var hornPages = []gearPage{
	{"what it is", []gearAsked{
		{field: labelField, name: "Label", help: "What you will call it in commands. What stands on its case will do."},
		{field: "maker", name: "Maker", help: "As engraved on the bell. Horns of one maker and model share what is learned, so keep to one spelling."},
		{field: "model", name: "Model", help: "As engraved. Maker, model, instrument and key together are the design."},
		{field: "key", name: "Key", help: "What its written C sounds with every slide as it is usually used."},
		{field: "instrument", name: "Instrument", help: "What kind of horn it is.", usual: "trumpet"},
		{field: "serial", name: "Serial number", help: "Mostly on the second valve's casing. It tells two copies of a design apart."},
	}},
	{"its tube", []gearAsked{
		{field: "valves", name: "Valves", help: "How many it has. Piccolos mostly have four.", usual: "usual number"},
		{field: "receiver", name: "Receiver", help: "Which mouthpiece shank its leadpipe takes.", usual: "as usual for it"},
		{field: "bore_mm", name: "Bore", help: "Pull the second valve slide and measure inside its inner tube with a caliper, at three angles; take the mean."},
		{field: "throw1_mm", name: "First throw", help: "How far the first valve slide moves out while playing: a ruler, from fully in to its stop. Empty for a fixed slide."},
		{field: "throw3_mm", name: "Third throw", help: "How far the third valve slide moves out while playing: a ruler, from fully in to its stop. Empty for a fixed slide."},
	}},
	{"whose it is", []gearAsked{
		{field: "loaner", name: "Loaner", help: "Whether it is lent out."},
		{field: "owner", name: "Owner", help: "Free text, or a player's handle."},
		{field: "tags", name: "Tags", help: "Words to find it by, with commas between."},
	}},
}

var mouthpiecePages = []gearPage{
	{"what it is", []gearAsked{
		{field: labelField, name: "Label", help: "What you will call it in commands, as in Plover 16.2."},
		{field: "maker", name: "Maker", help: "As engraved. Mouthpieces of one maker and model share what is learned, so keep to one spelling."},
		{field: "model", name: "Model", help: "As engraved. Maker, model and shank together are the design."},
		{field: "shank", name: "Shank", help: "Which receiver its taper fits.", usual: "trumpet"},
		{field: "serial", name: "Serial or mark", help: "A number, or a mark of your own: it tells two copies of a design apart."},
	}},
	{"its dimensions", []gearAsked{
		{field: "rim_mm", name: "Rim", help: "Inner diameter at the bite, the inner edge of the rim: a caliper's inside jaws without pressure, at three angles; take the mean."},
		{field: "cup_cm3", name: "Cup volume", help: "Stop the throat from below, fill the cup level with the bite from a small syringe and read what went in; or weigh the water, 1 g is 1 cm3."},
		{field: "cup_depth_mm", name: "Cup depth", help: "From the bite down to where the throat begins: the depth rod of a caliper laid across the rim."},
		{field: "throat_mm", name: "Throat", help: "The largest drill bit whose shank slides through. Use the smooth end only and never turn it: what is cut stays cut."},
		{field: "throat_length_mm", name: "Throat length", help: "Of the narrow cylinder, before the backbore widens. Leave it out unless a drawing says it: it is hard to see."},
		{field: "backbore_mm", name: "Backbore's end", help: "Inside diameter at the very end of the shank: a caliper's inside jaws, or the largest drill shank that enters."},
		{field: "backbore_character", name: "Backbore in words", help: "As its maker describes it: tight, straight, open."},
		{field: "length_mm", name: "Length", help: "Over all, from the top of the rim to the end of the shank."},
	}},
	{"where it is", []gearAsked{
		{field: "owner", name: "Owner", help: "Free text, or a player's handle. Whatever is shared is washed and disinfected between players."},
		{field: "stock", name: "In stock", help: "Lists that have it (shops, cupboards), with commas between."},
		{field: "tags", name: "Tags", help: "Words to find it by, with commas between."},
	}},
}

var playerPages = []gearPage{
	{"who it is", []gearAsked{
		{field: labelField, name: "Handle", help: "What they are called here. It need not be a name, and others see it when catalogs are pooled."},
		{field: "level", name: "Level", help: "In words: beginner, student, amateur, professional."},
		{field: "range", name: "Range", help: "Lowest and highest written note of their music, as in F#3-C6. Empty for the usual range."},
		{field: "tolerance_cents", name: "Tolerance", help: "The deviation that still passes for in tune. Empty for the usual."},
	}},
	{"what is comfortable", []gearAsked{
		{field: "rim_min_mm", name: "Smallest rim", help: "Inner diameter of the smallest rim that feels good after an hour. Empty for no limit."},
		{field: "rim_max_mm", name: "Largest rim", help: "Inner diameter of the largest rim that feels good after an hour. Empty for no limit."},
		{field: "cup_min_cm3", name: "Smallest cup", help: "Volume of the smallest comfortable cup. Empty for no limit."},
		{field: "cup_max_cm3", name: "Largest cup", help: "Volume of the largest comfortable cup. Empty for no limit."},
		{field: "tags", name: "Tags", help: "Words to find them by, with commas between."},
	}},
}
