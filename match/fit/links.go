package fit

// links tells which items a chain of sessions connects: a union-find over
// horns, mouthpieces and named designs.
type links struct{ parent []int32 }

func (l *links) find(i int32) int32 {
	for l.parent[i] != i {
		l.parent[i] = l.parent[l.parent[i]]
		i = l.parent[i]
	}
	return i
}

func (l *links) join(a, b int32) {
	a, b = l.find(a), l.find(b)
	if a < b {
		l.parent[b] = a
	} else {
		l.parent[a] = b
	}
}

// parts numbers the unconnected parts of the catalog: for each horn and each
// mouthpiece the part it belongs to. Two specimens of one named design are in
// one part; an item that neither was measured nor shares a measured design is
// a part of its own.
func (d *Data) parts() (horns, mouthpieces []int32) {
	hornDesign, nHorn, _ := groups(len(d.Horns), func(i int) string { return d.Horns[i].Design })
	mouthpieceDesign, nMouthpiece, _ := groups(len(d.Mouthpieces), func(i int) string { return d.Mouthpieces[i].Design })
	l := &links{make([]int32, nHorn+nMouthpiece)}
	for i := range l.parent {
		l.parent[i] = int32(i)
	}
	for _, s := range d.sessions {
		l.join(hornDesign[s.horn], int32(nHorn)+mouthpieceDesign[s.mouthpiece])
	}
	horns, mouthpieces = make([]int32, len(d.Horns)), make([]int32, len(d.Mouthpieces))
	for i := range horns {
		horns[i] = l.find(hornDesign[i])
	}
	for i := range mouthpieces {
		mouthpieces[i] = l.find(int32(nHorn) + mouthpieceDesign[i])
	}
	return horns, mouthpieces
}
