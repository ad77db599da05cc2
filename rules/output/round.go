package output

import (
	"math"
	"reflect"
)

// rounded rounds every number of a piece of a document to six decimals: a millionth of a
// millimetre is below what any file holds, and the digits after it differ from
// machine to machine.
func rounded[T any](d T) T {
	roundValue(reflect.ValueOf(&d).Elem())
	return d
}

func roundValue(v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(math.Round(v.Float()*1e6)/1e6 + 0) // no -0
	case reflect.Pointer:
		if !v.IsNil() && v.CanSet() {
			fresh := reflect.New(v.Type().Elem()) // the report's own numbers stay
			fresh.Elem().Set(v.Elem())
			roundValue(fresh.Elem())
			v.Set(fresh)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				roundValue(v.Field(i))
			}
		}
	case reflect.Array, reflect.Slice:
		for i := range v.Len() {
			roundValue(v.Index(i))
		}
	}
}
