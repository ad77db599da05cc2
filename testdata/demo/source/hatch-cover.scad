// Hatch cover as a careless export leaves it: one facet missing, one the wrong way round.
w = 48; d = 30; h = 4; r = 20; k = 12;
polyhedron(
    points = [[0,0,0],[w,0,0],[w,d,0],[0,d,0],[0,0,h],[w,0,h],[w,d,h],[0,d,h]],
    faces = [[0,1,2],[0,2,3],
             [4,6,5],        // [4,7,6] is missing
             [0,5,1],[0,4,5],
             [1,6,2],[1,5,6],
             [2,7,3],[2,6,7],
             [3,4,0],[3,4,7]]);   // the last one is turned
