package rules

import "corbel/spec"

// heatSteps are the steps of a route that heat the part.
var heatSteps = map[string]bool{"stress relieve": true, "hot isostatic press": true, "anneal": true, "solution treat": true, "age": true, "debind": true, "sinter": true}

// heated reports whether the route heats the part.
func heated(p *spec.Part) bool { return anyStep(p, heatSteps) }

// cleaned reports whether the route takes powder off by blasting or suction.
func cleaned(p *spec.Part) bool {
	return anyStep(p, map[string]bool{"remove powder": true, "blast": true, "clean": true})
}

func anyStep(p *spec.Part, steps map[string]bool) bool {
	for _, s := range p.Route.Steps.V {
		if steps[s.V] {
			return true
		}
	}
	return false
}
