// Welding and topology by VTK 9.1 (Debian package libvtk9-dev): points that are
// equal made one, then the cells at each point.
//
//   go test ./mesh -run TestTreeShapes -treedump /tmp
//   g++ -O3 mesh/testdata/oracle/vtk_weld.cpp -I/usr/include/vtk-9.1 -o /tmp/vtk_weld -lvtkIOGeometry-9.1 -lvtkFiltersCore-9.1 -lvtkCommonDataModel-9.1 -lvtkCommonExecutionModel-9.1 -lvtkCommonCore-9.1
//   /tmp/vtk_weld /tmp/gyroid-100000.stl
//   go test ./mesh -run xxx -bench 'Weld|Topology'
//
// In processor time of one thread.
#include <vtkCleanPolyData.h>
#include <vtkIdList.h>
#include <vtkNew.h>
#include <vtkPolyData.h>
#include <vtkSTLReader.h>
#include <cstdio>
#include <ctime>

int main(int argc, char **argv) {
  for (int i = 1; i < argc; i++) {
    vtkNew<vtkSTLReader> read;
    read->SetFileName(argv[i]);
    read->MergingOff();
    read->Update();
    std::clock_t from = std::clock();
    vtkNew<vtkCleanPolyData> clean;
    clean->SetInputConnection(read->GetOutputPort());
    clean->SetTolerance(0);
    clean->Update();
    double weld = double(std::clock() - from) / CLOCKS_PER_SEC;
    from = std::clock();
    vtkPolyData *m = clean->GetOutput();
    m->BuildLinks();
    vtkNew<vtkIdList> others;
    long open = 0, pairs = 0;
    for (vtkIdType c = 0; c < m->GetNumberOfCells(); c++) {
      vtkIdType n; const vtkIdType *p;
      m->GetCellPoints(c, n, p);
      for (int k = 0; k < 3; k++) {
        m->GetCellEdgeNeighbors(c, p[k], p[(k + 1) % 3], others);
        (others->GetNumberOfIds() == 1 ? pairs : open)++;
      }
    }
    std::printf("%s %lld facets, %lld points, %ld open: weld %.3f s, topology %.3f s\n", argv[i], (long long)m->GetNumberOfCells(),
                (long long)m->GetNumberOfPoints(), open, weld, double(std::clock() - from) / CLOCKS_PER_SEC);
  }
}
