package estimate

// Order is a number of equal parts, built in as few jobs as hold them.
type Order struct {
	Quantity int     // parts wanted; less than 1 is 1
	PerJob   int     // parts that one job holds; less than 1 is 1
	Job      Job     // of one part; its Count is not used
	HandH    float64 // work by hand on one part: supports off
	MassG    float64 // melted for one part, support included
	Rates    Rates
}

// Price is what a part of an order takes and costs.
type Price struct {
	Jobs     int
	PerJob   int     // parts in a full job, no more than are wanted
	Job      Time    // of a full job
	MachineH float64 // machine hours a part, its share of every job's set-up and layers included
	HandH    float64 // hours by hand a part
	Cost     Cost    // a part
}

// Price spreads the jobs of an order over its parts: set-up and recoating are
// paid once a job, melting and outlines once a part. With one job of all parts it is
// PartCost of BuildTime.
func (o Order) Price() Price {
	q := max(1, o.Quantity)
	n := min(q, max(1, o.PerJob))
	j := o.Job
	j.Count = n
	p := Price{Jobs: (q + n - 1) / n, PerJob: n, Job: BuildTime(j), HandH: o.HandH}
	share := float64(p.Jobs) / float64(q)
	p.MachineH = share*(p.Job.Setup+p.Job.Recoat) + (p.Job.Melt+p.Job.Outline)/float64(n)
	r := o.Rates
	p.Cost = Cost{
		Machine: r.MachineH * p.MachineH,
		Job:     (r.JobBefore + r.JobAfter) * share,
		Powder:  o.MassG / 1000 * r.PowderKG * (1 + r.Loss),
		Gas:     r.GasH * p.MachineH,
		Removal: r.WorkH * o.HandH,
		Finish:  r.PartAfter,
	}
	p.Cost.Sum = p.Cost.Machine + p.Cost.Job + p.Cost.Powder + p.Cost.Gas + p.Cost.Removal + p.Cost.Finish
	return p
}
