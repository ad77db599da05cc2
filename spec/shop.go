package spec

import "fmt"

// This file reads the shop file.

func (d *decoder) shop(file string) *Shop {
	s := &Shop{File: file, Doc: d.doc}
	d.check(d.doc.Root, language(ShopFile).root, nil)
	r := d.root()
	s.Schema = r.integer("schema")
	s.Name = r.text("shop")
	s.Revision = r.text("revision")
	s.Currency = r.text("currency")
	s.Extends = r.text("extends")
	s.Limits = d.limitSets(r.sub("limits"))
	s.Levels = d.levels(r.sub("levels"))

	p := r.sub("policy")
	s.Policy = Policy{Table: p.at(), Waivable: p.texts("waivable"), Loosen: p.texts("loosen"), WaiverDays: p.integer("waiver-days")}

	c := r.sub("rates")
	s.Rates = Rates{
		Table: c.at(), Work: c.number("work"), Job: c.number("job"), Furnace: c.number("furnace"), Part: c.number("part"),
		Removal: c.quantity("removal"), PowderLoss: c.number("powder-loss"), SupportShare: c.number("support-share"),
	}

	names := map[string]Range{}
	for _, m := range r.each("machine") {
		machine := d.machine(m)
		d.unique(machine.Name, "machine", names)
		s.Machines = append(s.Machines, machine)
	}
	names = map[string]Range{}
	for _, m := range r.each("material") {
		material := d.material(m)
		d.unique(material.Name, "material", names)
		s.Materials = append(s.Materials, material)
	}
	return s
}

// limitSets reads the limits of all processes, in the order of the text.
func (d *decoder) limitSets(s scope) []LimitSet {
	if s.node == nil {
		return nil
	}
	var sets []LimitSet
	for _, n := range s.node.Kids {
		if n.Kind != KindTable && n.Kind != KindInline {
			continue
		}
		p := scope{d, n, s.e.star, s.under(n.Name)}
		d.ask(s.e.star)
		process := tableName(n)
		sets = append(sets, LimitSet{Process: process, Table: n.At, Limits: d.limits(p)})
		for _, m := range p.named("material") {
			sets = append(sets, LimitSet{Process: process, Material: tableName(m.node), Table: m.at(), Limits: d.limits(m)})
		}
		for _, m := range p.named("machine") {
			sets = append(sets, LimitSet{Process: process, Machine: tableName(m.node), Table: m.at(), Limits: d.limits(m)})
		}
	}
	return sets
}

// named returns the tables under a table whose names the user chooses.
func (s scope) named(name string) []scope {
	t := s.sub(name)
	if t.node == nil {
		return nil
	}
	var list []scope
	for _, n := range t.node.Kids {
		if n.Kind == KindTable || n.Kind == KindInline {
			s.d.ask(t.e.star)
			list = append(list, scope{s.d, n, t.e.star, t.under(n.Name)})
		}
	}
	return list
}

func tableName(n *Node) Value[string] {
	return Value[string]{V: n.Name, Set: true, Key: n.Key, At: n.Key}
}

func (d *decoder) levels(s scope) []LevelEntry {
	if s.node == nil {
		return nil
	}
	var list []LevelEntry
	for _, n := range s.node.Kids {
		if s.e.child(n.Name) != nil {
			list = append(list, LevelEntry{Check: tableName(n), Level: s.text(n.Name)})
		}
	}
	return list
}

func (d *decoder) machine(s scope) Machine {
	m := Machine{
		Table: s.at(), Name: s.text("name"), Process: s.text("process"), Materials: s.texts("materials"),
		Margin: s.quantity("margin"), Layer: s.quantity("layer"), Recoat: s.quantity("recoat"),
		Setup: s.quantity("setup"), Rate: s.number("rate"),
		Gas: s.number("gas"), BuildRate: s.quantity("build-rate"), Contour: s.quantity("contour"), Spacing: s.quantity("spacing"),
	}
	b := s.sub("build")
	m.Build.At = b.at()
	m.Build.X, m.Build.Y, m.Build.Z = b.quantity("x"), b.quantity("y"), b.quantity("z")
	m.Build.Diameter = b.quantity("diameter")
	round := m.Build.Diameter.Set && m.Build.Z.Set
	box := m.Build.X.Set && m.Build.Y.Set && m.Build.Z.Set
	m.Build.Set = d.buildShape(b) && (round || box)
	return m
}

// buildShape judges which sides of a build volume are given, and says whether
// they make a shape.
func (d *decoder) buildShape(b scope) bool {
	if b.node == nil || b.node.Partial {
		return b.node != nil
	}
	x, y, diameter := b.node.Child("x"), b.node.Child("y"), b.node.Child("diameter")
	switch {
	case diameter != nil && (x != nil || y != nil):
		d.problem("error", diameter.Key, "machine.build", `"machine.build" has a diameter and also x or y.`, "Give x, y and z of a box, or diameter and z of a round platform.")
		return false
	case diameter == nil && (x == nil || y == nil):
		lost := "x and y"
		if x != nil {
			lost = "y"
		} else if y != nil {
			lost = "x"
		}
		d.problem("error", b.node.At, "machine.build", fmt.Sprintf(`"machine.build" lacks %s.`, lost), "Give x, y and z of a box, or diameter and z of a round platform.")
		return false
	}
	return true
}

func (d *decoder) material(s scope) Material {
	return Material{
		Table: s.at(), Name: s.text("name"), Density: s.quantity("density"), Price: s.number("price"),
		BuildRate: s.quantity("build-rate"), ShrinkageXY: s.number("shrinkage-xy"), ShrinkageZ: s.number("shrinkage-z"),
		Packing: s.number("packing"), Reactive: s.boolean("reactive"), Source: s.text("source"),
	}
}
