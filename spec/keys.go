package spec

import "strings"

// This file is the one description of the language: every table and key of
// both files, with its type, its values and what it means to the user. The
// decoder, the messages about unknown keys, completion, hover, the JSON Schema
// and the manual come from it.

// FileKind says which of the two files a text is.
type FileKind uint8

// The two files.
const (
	PartFile FileKind = iota
	ShopFile
)

// String returns what the file is called.
func (k FileKind) String() string {
	if k == ShopFile {
		return "shop file"
	}
	return "part spec"
}

// Type is the type of a key's value.
type Type uint8

// The types of the language.
const (
	TypeTable     Type = iota // [name]
	TypeTables                // [[name]]
	TypeInline                // { ... }, also writable as a table
	TypeText                  // "..."
	TypeInteger               // 8
	TypeNumber                // 62.0
	TypeBoolean               // true or false
	TypeQuantity              // "0.4 mm"
	TypePosition              // [x, y, z] in mesh units
	TypeDirection             // [x, y, z] or "+z"
	TypeDate                  // 2027-06-30
	TypeTexts                 // ["...", "..."]
	TypeTolerance             // "H7" or "+-0.05 mm"
	TypeLimit                 // a quantity or number, or { value = ..., source = "..." }
)

// Ref says what a text names, so that it can be completed and followed.
type Ref uint8

// What a text may name.
const (
	RefNone     Ref = iota
	RefMachine      // the name of a [[machine]]
	RefMaterial     // the name of a [[material]]
	RefProcess      // a process by its abbreviation
	RefCheck        // a check
	RefLimit        // a limit
	RefShopFile     // a path to a shop file
	RefMeshFile     // a path to a mesh
	RefStep         // a step of the route
)

// Choice is a value that a key may have, and what it means.
type Choice struct{ Value, Doc string }

// KeyInfo describes one table or key.
type KeyInfo struct {
	Path     []string  // from the root; "*" stands for a name that the user chooses
	Type     Type      //
	Dim      Dim       // of a quantity
	Unit     string    // the usual unit of a quantity
	Holds    *Interval // numbers that are allowed, in Unit; nil allows all
	Required bool
	Default  string     // what holds where the key is absent, in words or as it would be written
	Values   []Choice   // all that is allowed; empty allows any
	Known    []Choice   // values to offer where others are allowed too
	Ref      Ref        // what the value names; for "*" what the key names
	Limit    *LimitInfo // for a limit
	Doc      string     // one to three sentences
	Example  string     // a line as it would be written
}

// Name returns the last part of the path.
func (k *KeyInfo) Name() string {
	if len(k.Path) == 0 {
		return ""
	}
	return k.Path[len(k.Path)-1]
}

// IsTable says whether keys stand under it.
func (k *KeyInfo) IsTable() bool {
	return k.Type == TypeTable || k.Type == TypeTables || k.Type == TypeInline
}

// Processes are the process categories the tool knows, by the abbreviation of
// ISO/ASTM 52900.
var Processes = []Choice{
	{"PBF-LB/M", "powder bed fusion of metal by laser beam"},
	{"PBF-EB/M", "powder bed fusion of metal by electron beam"},
	{"BJT/M", "binder jetting of metal, then sintering"},
	{"MEX/M", "material extrusion of bound metal, then sintering"},
}

// Uses are what a part may be for.
var Uses = []Choice{
	{"general", "nobody is hurt if it fails"},
	{"pressure", "holds pressure: proof and leak test are asked for"},
	{"flight", "flies: inspection and a qualified process are asked for"},
	{"medical", "touches a patient: cleaning and inspection are asked for"},
}

// HoleFinishes are how a hole may be finished.
var HoleFinishes = []Choice{
	{"as-built", "left as it comes from the process"},
	{"drill", "drilled to size"},
	{"ream", "reamed to size: a close fit"},
	{"bore", "bored to size: a close fit and a true place"},
	{"tap", "drilled and tapped: a thread"},
}

// FaceFinishes are how a face may be finished.
var FaceFinishes = []Choice{
	{"as-built", "left as it comes from the process"},
	{"blast", "blasted: loose powder and the worst roughness off"},
	{"mill", "milled: needs stock"},
	{"turn", "turned: needs stock"},
	{"grind", "ground: needs stock"},
	{"polish", "polished: needs a little stock"},
}

// MeshUnits are the units a mesh may be written in.
var MeshUnits = []Choice{
	{"mm", "millimetre"}, {"um", "micrometre"}, {"cm", "centimetre"}, {"m", "metre"}, {"in", "inch"}, {"ft", "foot"},
}

// Levels are the levels of a check.
var Levels = []Choice{
	{"error", "the part should not be made like this"},
	{"warning", "somebody should look at it"},
	{"note", "worth knowing"},
	{"off", "not reported"},
}

// Steps are the steps of a route that the checks know. A route may hold others.
var Steps = []Choice{
	{"remove powder", "take all loose powder out and off, before any heat"},
	{"stress relieve", "heat on the platform, so that the part keeps its shape when it is cut off"},
	{"cut from platform", "saw or wire-cut the part off"},
	{"remove supports", "take supports off"},
	{"cure", "harden the binder of a green part"},
	{"debind", "take the binder out of a green part"},
	{"sinter", "densify in the furnace"},
	{"hot isostatic press", "close inner pores by heat and pressure"},
	{"anneal", "soften by heat"},
	{"solution treat", "dissolve hardening phases by heat"},
	{"age", "harden by heat"},
	{"blast", "blast the surface"},
	{"tumble", "smooth the surface in a tumbler"},
	{"mill", "mill the faces that ask for it"},
	{"turn", "turn the faces that ask for it"},
	{"grind", "grind the faces that ask for it"},
	{"polish", "polish the faces that ask for it"},
	{"drill", "drill the holes that ask for it"},
	{"ream", "ream the holes that ask for it"},
	{"bore", "bore the holes that ask for it"},
	{"tap", "cut threads"},
	{"clean", "clean, and show that it is clean"},
	{"inspect", "measure against the drawing"},
	{"scan", "look inside by computed tomography"},
	{"leak test", "show that it is tight"},
	{"proof test", "load it beyond its service"},
}

// Checks is the name of every check, in the order of the manual.
var Checks = []Choice{
	{"mesh", "open, crossing or inside-out surface"},
	{"envelope", "does the part fit the machine"},
	{"overhang", "surface that needs support"},
	{"floating-start", "places that start in the air"},
	{"wall", "walls that are too thin"},
	{"feather-edge", "edges that are too sharp"},
	{"massive-section", "sections that are too thick"},
	{"hole", "holes: smallest, roof, depth, declared size"},
	{"pin", "pins and struts that are too thin"},
	{"gap", "gaps that fuse"},
	{"powder", "inner spaces that keep powder"},
	{"slenderness", "tall thin features"},
	{"section-jump", "sudden growth of the section"},
	{"stock", "faces without enough to machine off"},
	{"roughness", "faces rougher as built than they may be"},
	{"tolerance", "tolerances that the process does not hold"},
	{"support-access", "supports that no tool reaches"},
	{"route", "steps that are missing or in a harmful order"},
	{"budget", "mass and cost against the budget"},
	{"sinter", "size, span and aspect in the furnace"},
	{"spec", "the text itself"},
}

// CheckNames returns the names of Checks.
func CheckNames() []string { return values(Checks) }

func values(choices []Choice) []string {
	names := make([]string, len(choices))
	for i, c := range choices {
		names[i] = c.Value
	}
	return names
}

// limitNames returns the limits as choices.
func limitNames() []Choice {
	names := make([]Choice, len(Limits))
	for i := range Limits {
		names[i] = Choice{Limits[i].Name, Limits[i].Doc}
	}
	return names
}

func key(path string, info KeyInfo) KeyInfo {
	info.Path = strings.Split(path, ".")
	return info
}

// partKeys is the language of the part spec. A table stands before its keys;
// keys stand in the order in which one writes them.
var partKeys = []KeyInfo{
	key("schema", KeyInfo{Type: TypeInteger, Required: true, Holds: within(1, 1), Example: `schema = 1`,
		Doc: "The version of this language. It is 1."}),
	key("part", KeyInfo{Type: TypeText, Required: true, Example: `part = "Pitch-control distributor"`,
		Doc: "The name of the part, as people call it."}),
	key("drawing", KeyInfo{Type: TypeText, Example: `drawing = "TS-0412 C"`,
		Doc: "The drawing and its revision. Free text that goes into the report."}),
	key("process", KeyInfo{Type: TypeText, Required: true, Values: Processes, Ref: RefProcess, Example: `process = "PBF-LB/M"`,
		Doc: "How the part is built, by the abbreviation of ISO/ASTM 52900. It decides which checks apply and which limits hold."}),
	key("material", KeyInfo{Type: TypeText, Required: true, Ref: RefMaterial, Example: `material = "AlSi10Mg"`,
		Doc: "The material, by its name in the shop file or among the built-in ones. Density, price, shrinkage and some limits hang on it."}),
	key("machine", KeyInfo{Type: TypeText, Ref: RefMachine, Example: `machine = "bay 2"`, Default: "no machine: the part is not checked against a build volume",
		Doc: "The machine of the shop file that builds the part. Its build volume, layer and hourly rate are used."}),
	key("quantity", KeyInfo{Type: TypeInteger, Holds: within(1, 1e6), Default: "1", Example: `quantity = 8`,
		Doc: "How many are made. Set-up cost is shared among them."}),
	key("use", KeyInfo{Type: TypeText, Values: Uses, Default: "general", Example: `use = "pressure"`,
		Doc: "What the part is for. Uses that can hurt someone raise cautions and ask for more steps in the route."}),
	key("shop", KeyInfo{Type: TypeText, Ref: RefShopFile, Default: "the nearest shop.toml in this folder or above, else the built-in one", Example: `shop = "../shop.toml"`,
		Doc: "The shop file, relative to this file."}),

	key("mesh", KeyInfo{Type: TypeTable, Required: true, Example: "[mesh]",
		Doc: "The geometry of the part."}),
	key("mesh.file", KeyInfo{Type: TypeText, Required: true, Ref: RefMeshFile, Example: `file = "distributor.stl"`,
		Doc: "The mesh, relative to this file: .stl, .3mf, .obj or .ply."}),
	key("mesh.units", KeyInfo{Type: TypeText, Values: MeshUnits, Default: "the unit that a .3mf file states; other formats carry none, so the key is needed there", Example: `units = "mm"`,
		Doc: "The unit that the numbers of the mesh are in."}),

	key("orientation", KeyInfo{Type: TypeTable, Example: "[orientation]",
		Doc: "How the part stands on the platform."}),
	key("orientation.up", KeyInfo{Type: TypeDirection, Default: `"+z"`, Known: directions, Example: `up = "+z"`,
		Doc: "The direction of the part that points away from the platform, in mesh coordinates: [0, 0, 1], or an axis with its sign."}),
	key("orientation.turn", KeyInfo{Type: TypeQuantity, Dim: Angle, Unit: "deg", Holds: within(-360, 360), Default: `"0 deg"`, Example: `turn = "15 deg"`,
		Doc: "The turn about the build direction, after `up` points up. It helps a part to fit and keeps long walls from meeting the recoater all at once."}),
	key("orientation.lift", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: atLeast(0), Default: `"0 mm"`, Example: `lift = "3 mm"`,
		Doc: "How far the lowest point is above the platform. With 0 the part rests on it; above 0 it stands on supports."}),

	key("hole", KeyInfo{Type: TypeTables, Example: "[[hole]]",
		Doc: "A hole whose size matters. It is compared with the hole that is found at that place."}),
	key("hole.name", KeyInfo{Type: TypeText, Required: true, Example: `name = "inlet"`,
		Doc: "The name of the hole, used in findings. No two holes have the same."}),
	key("hole.at", KeyInfo{Type: TypePosition, Required: true, Example: `at = [12, 0, 30]`,
		Doc: "A point on the axis of the hole or near its wall, in mesh units and mesh coordinates."}),
	key("hole.diameter", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: above(0), Required: true, Example: `diameter = "10 mm"`,
		Doc: "The diameter as finished."}),
	key("hole.finish", KeyInfo{Type: TypeText, Values: HoleFinishes, Default: "as-built", Example: `finish = "ream"`,
		Doc: "How the hole is finished. A finish that cuts needs stock, so the mesh's hole is smaller."}),
	key("hole.tolerance", KeyInfo{Type: TypeTolerance, Known: fits, Example: `tolerance = "H7"`,
		Doc: `The tolerance of the diameter as finished: a grade of ISO 286 ("H7", "IT9"), a fit with the shaft that goes in ("H7/g6"), or a band about the diameter ("+-0.05 mm", "+0.2/-0.1 mm").`}),

	key("face", KeyInfo{Type: TypeTables, Example: "[[face]]",
		Doc: "A face whose finish matters."}),
	key("face.name", KeyInfo{Type: TypeText, Required: true, Example: `name = "flange"`,
		Doc: "The name of the face, used in findings. No two faces have the same."}),
	key("face.at", KeyInfo{Type: TypePosition, Required: true, Example: `at = [0, 0, 0]`,
		Doc: "A point on the face, in mesh units and mesh coordinates."}),
	key("face.finish", KeyInfo{Type: TypeText, Values: FaceFinishes, Default: "as-built", Example: `finish = "mill"`,
		Doc: "How the face is finished."}),
	key("face.stock", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: atLeast(0), Example: `stock = "0.6 mm"`,
		Doc: "How much material the mesh carries on this face to be machined off."}),
	key("face.roughness", KeyInfo{Type: TypeQuantity, Dim: Roughness, Unit: "um", Holds: above(0), Example: `roughness = "1.6 um"`,
		Doc: "The roughness Ra that the finished face may have at most."}),

	key("void", KeyInfo{Type: TypeTables, Example: "[[void]]",
		Doc: "An inner space that is meant to be there."}),
	key("void.name", KeyInfo{Type: TypeText, Required: true, Example: `name = "float chamber"`,
		Doc: "The name of the space, used in findings. No two spaces have the same."}),
	key("void.at", KeyInfo{Type: TypePosition, Required: true, Example: `at = [0, 0, 40]`,
		Doc: "A point inside the space, in mesh units and mesh coordinates."}),
	key("void.sealed", KeyInfo{Type: TypeBoolean, Default: "false", Example: `sealed = false`,
		Doc: "Whether it is closed on purpose. Write true only where that was reviewed: the powder stays inside."}),

	key("route", KeyInfo{Type: TypeTable, Example: "[route]",
		Doc: "What happens after the build."}),
	key("route.steps", KeyInfo{Type: TypeTexts, Required: true, Known: Steps, Ref: RefStep, Example: `steps = ["remove powder", "stress relieve", "cut from platform", "inspect"]`,
		Doc: "The steps after the build, in order. Steps that the checks know are compared with what process, material and use ask for; others are free text."}),

	key("budget", KeyInfo{Type: TypeTable, Example: "[budget]",
		Doc: "What the part may weigh and cost."}),
	key("budget.cost", KeyInfo{Type: TypeNumber, Holds: above(0), Example: `cost = 1200`,
		Doc: "The most that one part may cost, in the shop's currency."}),
	key("budget.mass", KeyInfo{Type: TypeQuantity, Dim: Mass, Unit: "g", Holds: above(0), Example: `mass = "450 g"`,
		Doc: "The most that one part may weigh."}),

	key("limits", KeyInfo{Type: TypeTable, Example: "[limits]",
		Doc: "Limits of this part alone, tighter than the shop's. Looser ones count only where the shop's policy allows it."}),

	key("waiver", KeyInfo{Type: TypeTables, Example: "[[waiver]]",
		Doc: "A finding that was looked at and accepted, with a reason, a place and an end date."}),
	key("waiver.check", KeyInfo{Type: TypeText, Required: true, Values: Checks, Ref: RefCheck, Example: `check = "overhang"`,
		Doc: "The check whose finding is accepted."}),
	key("waiver.near", KeyInfo{Type: TypePosition, Example: `near = [4, 18, 22]`, Default: "every finding of the check",
		Doc: "The place of the finding, in mesh units and mesh coordinates."}),
	key("waiver.within", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: above(0), Example: `within = "6 mm"`,
		Doc: "How far from `near` a finding may lie to be accepted. Needed beside `near`."}),
	key("waiver.reason", KeyInfo{Type: TypeText, Required: true, Example: `reason = "roof of the sump is machined away"`,
		Doc: "Why the finding is accepted, for the reviewer."}),
	key("waiver.until", KeyInfo{Type: TypeDate, Required: true, Example: `until = 2027-06-30`,
		Doc: "The last day on which the waiver holds. The shop's policy may cap it."}),
}

var directions = []Choice{
	{"+x", ""}, {"-x", ""}, {"+y", ""}, {"-y", ""}, {"+z", "as the mesh stands"}, {"-z", "upside down"},
}

var fits = []Choice{
	{"H7", "the usual fit of a reamed hole"}, {"H8", ""}, {"H9", ""}, {"H11", ""}, {"IT9", ""},
	{"H7/g6", "slides and turns, and stays in place"}, {"H8/f7", "runs"}, {"H7/h6", "goes together by hand"}, {"H7/k6", "located, goes together with light blows"},
	{"H7/p6", "pressed in"}, {"H11/c11", "runs loose"}, {"+-0.05 mm", ""}, {"+-0.1 mm", ""},
}

// shopKeys is the language of the shop file.
var shopKeys = []KeyInfo{
	key("schema", KeyInfo{Type: TypeInteger, Required: true, Holds: within(1, 1), Example: `schema = 1`,
		Doc: "The version of this language. It is 1."}),
	key("shop", KeyInfo{Type: TypeText, Required: true, Example: `shop = "Tideway workshop"`,
		Doc: "The name of the shop."}),
	key("revision", KeyInfo{Type: TypeText, Example: `revision = "2026-11"`,
		Doc: "The revision of this file. It goes into every report."}),
	key("currency", KeyInfo{Type: TypeText, Example: `currency = "EUR"`, Default: "costs are shown without a currency",
		Doc: "The currency of all rates, prices and budgets."}),
	key("extends", KeyInfo{Type: TypeText, Ref: RefShopFile, Example: `extends = "company.toml"`,
		Doc: "A shop file that this one stands on, relative to this file. What this file says comes first; the other file extends no further one."}),

	key("limits", KeyInfo{Type: TypeTable, Example: `[limits."PBF-LB/M"]`,
		Doc: "The limits of the shop, by process."}),
	key("limits.*", KeyInfo{Type: TypeTable, Values: Processes, Ref: RefProcess, Example: `[limits."PBF-LB/M"]`,
		Doc: "The limits of one process. Under it stand those of a material and of a machine, which come first."}),
	key("limits.*.material", KeyInfo{Type: TypeTable, Example: `[limits."PBF-LB/M".material.AlSi10Mg]`,
		Doc: "Limits by material, under their process."}),
	key("limits.*.material.*", KeyInfo{Type: TypeTable, Ref: RefMaterial, Example: `[limits."PBF-LB/M".material.AlSi10Mg]`,
		Doc: "The limits of one material in this process."}),
	key("limits.*.machine", KeyInfo{Type: TypeTable, Example: `[limits."PBF-LB/M".machine."bay 2"]`,
		Doc: "Limits by machine, under their process."}),
	key("limits.*.machine.*", KeyInfo{Type: TypeTable, Ref: RefMachine, Example: `[limits."PBF-LB/M".machine."bay 2"]`,
		Doc: "The limits of one machine in this process."}),

	key("levels", KeyInfo{Type: TypeTable, Example: "[levels]",
		Doc: "How much the findings of a check matter, by check, where the shop disagrees with the built-in level."}),

	key("policy", KeyInfo{Type: TypeTable, Example: "[policy]",
		Doc: "What a part spec may decide for itself."}),
	key("policy.waivable", KeyInfo{Type: TypeTexts, Values: Checks, Ref: RefCheck, Default: "every check", Example: `waivable = ["overhang", "wall", "gap"]`,
		Doc: "The checks whose findings a part spec may waive."}),
	key("policy.loosen", KeyInfo{Type: TypeTexts, Values: limitNames(), Ref: RefLimit, Default: "none", Example: `loosen = ["overhang.ledge"]`,
		Doc: "The limits that a part spec may set looser than the shop's."}),
	key("policy.waiver-days", KeyInfo{Type: TypeInteger, Holds: within(1, 36500), Default: "no end", Example: `waiver-days = 180`,
		Doc: "How many days ahead a waiver may end at most."}),

	key("rates", KeyInfo{Type: TypeTable, Example: "[rates]",
		Doc: "What work costs beside the machine, for planning figures of time and cost. Money is in the shop's currency."}),
	key("rates.work", KeyInfo{Type: TypeNumber, Holds: atLeast(0), Example: `work = 55.0`,
		Doc: "What an hour of work by hand costs."}),
	key("rates.job", KeyInfo{Type: TypeNumber, Holds: atLeast(0), Example: `job = 180.0`,
		Doc: "What one build job costs beside machine time, whatever is in it: files, platform, unpacking, stress relief, cutting off."}),
	key("rates.furnace", KeyInfo{Type: TypeNumber, Holds: atLeast(0), Example: `furnace = 350.0`,
		Doc: "What one furnace run costs, debinding and sintering together. For BJT/M and MEX/M; one run a build job."}),
	key("rates.part", KeyInfo{Type: TypeNumber, Holds: atLeast(0), Example: `part = 25.0`,
		Doc: "What every part costs beside all that grows with its size: handling, inspection."}),
	key("rates.removal", KeyInfo{Type: TypeQuantity, Dim: Time, Unit: "s", Holds: atLeast(0), Default: "60 s", Example: `removal = "60 s"`,
		Doc: "The work by hand that removing support takes for every cm2 on which it touches the part."}),
	key("rates.powder-loss", KeyInfo{Type: TypeNumber, Holds: within(0, 10), Default: "0.1", Example: `powder-loss = 0.1`,
		Doc: "The powder that is lost beside the part, as a share of what the part and its support weigh."}),
	key("rates.support-share", KeyInfo{Type: TypeNumber, Holds: within(0.001, 1), Default: "0.15", Example: `support-share = 0.15`,
		Doc: "The share of a support's column that is solid."}),

	key("machine", KeyInfo{Type: TypeTables, Example: "[[machine]]",
		Doc: "A machine of the shop."}),
	key("machine.name", KeyInfo{Type: TypeText, Required: true, Example: `name = "bay 2"`,
		Doc: "The name of the machine, as part specs write it. No two machines have the same."}),
	key("machine.process", KeyInfo{Type: TypeText, Required: true, Values: Processes, Ref: RefProcess, Example: `process = "PBF-LB/M"`,
		Doc: "The process that the machine runs."}),
	key("machine.materials", KeyInfo{Type: TypeTexts, Ref: RefMaterial, Default: "any", Example: `materials = ["AlSi10Mg", "Ti-6Al-4V"]`,
		Doc: "The materials that the machine runs."}),
	key("machine.build", KeyInfo{Type: TypeInline, Required: true, Example: `build = { x = "200 mm", y = "200 mm", z = "200 mm" }`,
		Doc: "The build volume: x, y and z of a box, or diameter and z of a round one. X runs along the front of the machine."}),
	key("machine.build.x", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: above(0), Example: `x = "200 mm"`,
		Doc: "The width along the front of the machine."}),
	key("machine.build.y", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: above(0), Example: `y = "200 mm"`,
		Doc: "The depth from the front of the machine to its back."}),
	key("machine.build.z", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: above(0), Required: true, Example: `z = "200 mm"`,
		Doc: "The height above the platform."}),
	key("machine.build.diameter", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: above(0), Example: `diameter = "350 mm"`,
		Doc: "The diameter of a round platform, in place of x and y."}),
	key("machine.margin", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: atLeast(0), Default: "the limit envelope.margin", Example: `margin = "5 mm"`,
		Doc: "The edge of the build volume in which nothing is built."}),
	key("machine.layer", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "um", Holds: above(0), Example: `layer = "40 um"`,
		Doc: "The layer thickness. What is uneven by less at the foot of a part lies on the platform; without a machine that is 20 um."}),
	key("machine.recoat", KeyInfo{Type: TypeQuantity, Dim: Time, Unit: "s", Holds: atLeast(0), Example: `recoat = "9 s"`,
		Doc: "The time that one layer takes besides melting: lowering, spreading powder, heating."}),
	key("machine.setup", KeyInfo{Type: TypeQuantity, Dim: Time, Unit: "h", Holds: atLeast(0), Example: `setup = "2 h"`,
		Doc: "The time that one job takes before and after: preparing, filling with gas, cooling down."}),
	key("machine.rate", KeyInfo{Type: TypeNumber, Holds: atLeast(0), Example: `rate = 95.0`,
		Doc: "What an hour of the machine costs, in the shop's currency."}),
	key("machine.gas", KeyInfo{Type: TypeNumber, Holds: atLeast(0), Example: `gas = 4.5`,
		Doc: "What the gas for an hour of building costs, in the shop's currency, where the rate leaves it out."}),
	key("machine.build-rate", KeyInfo{Type: TypeQuantity, Dim: Rate, Unit: "cm3/h", Holds: above(0), Default: "the material's, or what is usual in the process", Example: `build-rate = "45 cm3/h"`,
		Doc: "The volume that this machine builds in an hour, recoating left out. It stands over the material's."}),
	key("machine.contour", KeyInfo{Type: TypeQuantity, Dim: Speed, Unit: "mm/s", Holds: above(0), Default: "melting the outlines is part of the build rate", Example: `contour = "400 mm/s"`,
		Doc: "The speed along the outlines of a layer, all their passes together, where the build rate leaves outlines out."}),
	key("machine.spacing", KeyInfo{Type: TypeQuantity, Dim: Length, Unit: "mm", Holds: atLeast(0), Default: "3 mm", Example: `spacing = "3 mm"`,
		Doc: "The distance kept between parts on the platform."}),

	key("material", KeyInfo{Type: TypeTables, Example: "[[material]]",
		Doc: "A material of the shop. One with the name of a built-in material overrides what it states and keeps the rest."}),
	key("material.name", KeyInfo{Type: TypeText, Required: true, Example: `name = "AlSi10Mg"`,
		Doc: "The name of the material, as part specs write it. No two materials have the same."}),
	key("material.density", KeyInfo{Type: TypeQuantity, Dim: Density, Unit: "g/cm3", Holds: above(0), Example: `density = "2.67 g/cm3"`,
		Doc: "The density when fully dense."}),
	key("material.price", KeyInfo{Type: TypeNumber, Holds: atLeast(0), Example: `price = 62.0`,
		Doc: "What a kilogram of feedstock costs, in the shop's currency."}),
	key("material.build-rate", KeyInfo{Type: TypeQuantity, Dim: Rate, Unit: "cm3/h", Holds: above(0), Example: `build-rate = "30 cm3/h"`,
		Doc: "The volume that is built in an hour, recoating left out."}),
	key("material.shrinkage-xy", KeyInfo{Type: TypeNumber, Holds: within(0, 0.5), Example: `shrinkage-xy = 0.17`,
		Doc: "The linear shrinkage in the furnace across the build direction, as a share of the green length. For BJT/M and MEX/M."}),
	key("material.shrinkage-z", KeyInfo{Type: TypeNumber, Holds: within(0, 0.5), Example: `shrinkage-z = 0.195`,
		Doc: "The linear shrinkage in the furnace along the build direction, as a share of the green length. For BJT/M and MEX/M."}),
	key("material.packing", KeyInfo{Type: TypeNumber, Holds: within(0.1, 1), Default: "0.55", Example: `packing = 0.55`,
		Doc: "The share of loose powder that is solid. Trapped powder is weighed with it."}),
	key("material.reactive", KeyInfo{Type: TypeBoolean, Default: "false", Example: `reactive = true`,
		Doc: "Whether the powder burns or explodes as dust. It raises the level of trapped powder and prints cautions."}),
	key("material.source", KeyInfo{Type: TypeText, Example: `source = "supplier's data sheet"`,
		Doc: "Where the numbers come from."}),
}
