# Prints reference figures of meshes, worked out by VTK 9.1 (Debian package
# python3-vtk9) and nothing of this project:
#
#	python3 vtk_edges.py ../../../testdata/meshes FILE... > vtk.csv
#
# Equal points are made one (vtkCleanPolyData, tolerance 0) and facets with two
# equal corners left out; then vtkFeatureEdges counts open and non-manifold
# edges, and vtkMassProperties sums area and volume (of closed meshes only).
# Left out: faces of four corners, which vtkMassProperties does not take.
import sys
from vtkmodules.vtkFiltersCore import vtkCleanPolyData, vtkFeatureEdges, vtkMassProperties
from vtkmodules.vtkIOGeometry import vtkOBJReader, vtkSTLReader
from vtkmodules.vtkIOPLY import vtkPLYReader

readers = {"stl": vtkSTLReader, "obj": vtkOBJReader, "ply": vtkPLYReader}
print("file,facets,open,nonmanifold,area,volume")
for name in sys.argv[2:]:
    r = readers[name.rsplit(".", 1)[1]]()
    r.SetFileName(sys.argv[1] + "/" + name)
    if hasattr(r, "MergingOff"):
        r.MergingOff()
    c = vtkCleanPolyData()
    c.SetInputConnection(r.GetOutputPort())
    c.SetTolerance(0)
    c.ConvertPolysToLinesOff()
    c.ConvertLinesToPointsOff()
    c.Update()
    whole = c.GetOutput()

    def count(kind):
        e = vtkFeatureEdges()
        e.SetInputConnection(c.GetOutputPort())
        e.FeatureEdgesOff()
        e.ManifoldEdgesOff()
        e.BoundaryEdgesOff()
        e.NonManifoldEdgesOff()
        getattr(e, kind + "EdgesOn")()
        e.Update()
        return e.GetOutput().GetNumberOfCells()

    mass = vtkMassProperties()
    mass.SetInputConnection(c.GetOutputPort())
    mass.Update()
    opened, many = count("Boundary"), count("NonManifold")
    volume = "%.12g" % mass.GetVolume() if opened + many == 0 else ""
    print("%s,%d,%d,%d,%.12g,%s" % (name, whole.GetNumberOfPolys(), opened, many, mass.GetSurfaceArea(), volume))
