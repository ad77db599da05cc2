#include "textflag.h"

// Eight lanes at once with AVX2 and FMA; lanes.go says what each does. Offsets
// are those of the structs there and in bvh.go; a test holds them together.

// SHEAR loads a corner at the offset, sheared, to x and y; Y0 is scratch.
#define SHEAR(at, x, y) \
	VMOVUPS      at(AX)(R10*1), Y0; \
	VSUBPS       Y14, Y0, Y0; \
	VMOVUPS      at(AX)(R8*1), x; \
	VSUBPS       Y12, x, x; \
	VFNMADD231PS Y0, Y10, x; \
	VMOVUPS      at(AX)(R9*1), y; \
	VSUBPS       Y13, y, y; \
	VFNMADD231PS Y0, Y11, y

// SIDES says how far along the ray the sides at the offsets i, j and k of the
// boxes at AX lie, each less what a, b and c hold of the ray's origin: to x, y
// and z. Y0 to Y2 are 1/direction.
#define SIDES(i, j, k, a, b, c, x, y, z) \
	VMOVUPS     (AX)(i*1), x; \
	VFMSUB213PS a, Y0, x; \
	VMOVUPS     (AX)(j*1), y; \
	VFMSUB213PS b, Y1, y; \
	VMOVUPS     (AX)(k*1), z; \
	VFMSUB213PS c, Y2, z

// PUSH sorts the children of the node at AX that are left in the mask DX, of
// which R11 are all but the first, by Y11, puts them on the stack at CX and goes
// on with the nearest in AX. It takes R8 and R11 to R13. A child and how near it
// is are one number: for those that are not negative, floats order as integers.
#define PUSH \
	VMOVUPS      192(AX), Y14; \
	VUNPCKLPS    Y11, Y14, Y12; \
	VUNPCKHPS    Y11, Y14, Y13; \
	VMOVUPS      X12, 0(SP); \
	VMOVUPS      X13, 16(SP); \
	VEXTRACTF128 $1, Y12, 32(SP); \
	VEXTRACTF128 $1, Y13, 48(SP); \
	TZCNTL       DX, R12; \
	MOVQ         (SP)(R12*8), AX; \
	TZCNTL       R11, R12; \
	MOVQ         (SP)(R12*8), DX; \
	CMPQ         AX, DX; \
	MOVQ         AX, R13; \
	CMOVQGT      DX, AX; \
	CMOVQGT      R13, DX; \
	MOVQ         CX, R8; \
	MOVQ         DX, (CX); \
	ADDQ         $8, CX; \
next: \
	BLSRL        R11, R11; \
	JEQ          pushed; \
	TZCNTL       R11, R12; \
	MOVQ         (SP)(R12*8), DX; \
	CMPQ         AX, DX; \
	MOVQ         AX, R13; \
	CMOVQGT      DX, AX; \
	CMOVQGT      R13, DX; \
	MOVQ         CX, R12; \
sift: \
	MOVQ         -8(R12), R13; \
	CMPQ         R13, DX; \
	JGE          put; \
	MOVQ         R13, (R12); \
	SUBQ         $8, R12; \
	CMPQ         R12, R8; \
	JNE          sift; \
put: \
	MOVQ         DX, (R12); \
	ADDQ         $8, CX; \
	JMP          next; \
pushed: \
	MOVL         AX, AX

// func rayLeafAVX2(r *rayLanes, nodes *wideNode, blocks *block, stack *waiting, n, room int) (left int, leaf, mask uint32)
TEXT ·rayLeafAVX2(SB), NOSPLIT, $72-64
	MOVQ r+0(FP), BX
	MOVQ nodes+8(FP), SI
	MOVQ blocks+16(FP), DI
	MOVQ stack+24(FP), CX
	MOVQ room+40(FP), AX
	LEAQ -64(CX)(AX*8), AX
	MOVQ AX, 64(SP)           // beyond this there is no room for a node's children
	MOVQ n+32(FP), AX
	LEAQ (CX)(AX*8), CX

load:
	VBROADCASTSS 0(BX), Y0    // 1/direction
	VBROADCASTSS 4(BX), Y1
	VBROADCASTSS 8(BX), Y2
	VBROADCASTSS 12(BX), Y3   // near
	VBROADCASTSS 16(BX), Y4
	VBROADCASTSS 20(BX), Y5
	VBROADCASTSS 24(BX), Y6   // far
	VBROADCASTSS 28(BX), Y7
	VBROADCASTSS 32(BX), Y8
	VBROADCASTSS 36(BX), Y9   // tMin
	VBROADCASTSS 40(BX), Y10  // tMax

sides:
	MOVQ 48(BX), R8
	MOVQ 56(BX), R9
	MOVQ 64(BX), R10

pop:
	CMPQ     CX, stack+24(FP)
	JEQ      none
	SUBQ     $8, CX
	MOVL     (CX), AX
	VMOVSS   4(CX), X11
	VUCOMISS X10, X11
	JHI      pop

visit:
	TESTL        AX, AX
	JLT          leaf
	CMPQ         CX, 64(SP)
	JHI          full
	IMUL3Q       $224, AX, AX
	ADDQ         SI, AX
	MOVQ         72(BX), R11
	MOVQ         80(BX), R12
	MOVQ         88(BX), R13
	SIDES(R8, R9, R10, Y3, Y4, Y5, Y11, Y12, Y13)
	VMAXPS       Y9, Y11, Y11
	VMAXPS       Y13, Y12, Y12
	VMAXPS       Y12, Y11, Y11
	SIDES(R11, R12, R13, Y6, Y7, Y8, Y12, Y13, Y14)
	VMINPS       Y10, Y12, Y12
	VMINPS       Y14, Y13, Y13
	VMINPS       Y13, Y12, Y12
	VCMPPS       $2, Y12, Y11, Y13
	VMOVMSKPS    Y13, DX
	TESTL        DX, DX
	JEQ          pop
	BLSRL        DX, R11
	JNE          some
	TZCNTL       DX, DX
	MOVL         192(AX)(DX*4), AX
	JMP          visit

some:
	PUSH
	MOVQ 48(BX), R8
	JMP  visit

leaf:
	NOTL         AX
	MOVL         AX, R11
	IMUL3Q       $416, AX, AX
	ADDQ         DI, AX
	MOVQ         120(BX), R8
	MOVQ         128(BX), R9
	MOVQ         136(BX), R10
	VBROADCASTSS 96(BX), Y12
	VBROADCASTSS 100(BX), Y13
	VBROADCASTSS 104(BX), Y14
	VBROADCASTSS 108(BX), Y10
	VBROADCASTSS 112(BX), Y11
	SHEAR(0, Y1, Y2)
	SHEAR(96, Y3, Y4)
	SHEAR(192, Y5, Y6)

	// Edge functions.
	VMULPS       Y4, Y5, Y7
	VFNMADD231PS Y3, Y6, Y7
	VMULPS       Y6, Y1, Y8
	VFNMADD231PS Y5, Y2, Y8
	VMULPS       Y2, Y3, Y9
	VFNMADD231PS Y1, Y4, Y9

	// Tolerance from the largest coordinate.
	VPCMPEQD     Y15, Y15, Y15
	VPSRLD       $1, Y15, Y15
	VANDPS       Y15, Y1, Y1
	VANDPS       Y15, Y2, Y2
	VANDPS       Y15, Y3, Y3
	VANDPS       Y15, Y4, Y4
	VANDPS       Y15, Y5, Y5
	VANDPS       Y15, Y6, Y6
	VMAXPS       Y2, Y1, Y1
	VMAXPS       Y4, Y3, Y3
	VMAXPS       Y6, Y5, Y5
	VMAXPS       Y3, Y1, Y1
	VMAXPS       Y5, Y1, Y1
	VBROADCASTSS 116(BX), Y0
	VADDPS       Y0, Y1, Y1
	VBROADCASTSS 44(BX), Y0
	VMULPS       Y0, Y1, Y1
	VXORPS       Y4, Y4, Y4
	VSUBPS       Y1, Y4, Y4

	VMINPS       Y8, Y7, Y2
	VMINPS       Y9, Y2, Y2
	VMAXPS       Y8, Y7, Y3
	VMAXPS       Y9, Y3, Y3
	VCMPPS       $13, Y4, Y2, Y5
	VCMPPS       $2, Y1, Y3, Y6
	VORPS        Y5, Y6, Y5
	VMOVMSKPS    Y5, DX
	VMOVUPS      384(AX), Y0
	VMOVMSKPS    Y0, R12       // lanes without a facet
	ANDNL        DX, R12, DX
	JEQ          load
	MOVL         R11, leaf+56(FP)

done:
	VZEROUPPER
	MOVL DX, mask+60(FP)
	SUBQ stack+24(FP), CX
	SHRQ $3, CX
	MOVQ CX, left+48(FP)
	RET

full:
	MOVL AX, (CX)
	MOVL 36(BX), DX
	MOVL DX, 4(CX)
	ADDQ $8, CX

none:
	XORL DX, DX
	MOVL DX, leaf+56(FP)
	JMP  done

// USEDKIDS takes lanes without a child out of the mask DX, USEDFACETS those
// without a facet.
#define USEDKIDS \
	VPXOR     Y0, Y0, Y0; \
	VPCMPEQD  192(AX), Y0, Y0; \
	VMOVMSKPS Y0, R8; \
	ANDNL     DX, R8, DX

#define USEDFACETS \
	VMOVUPS   384(AX), Y0; \
	VMOVMSKPS Y0, R8; \
	ANDNL     DX, R8, DX

// APART adds to Y7 the square of the distance along an axis from the point to
// lo..hi; Y8 is zero.
#define APART(lo, hi, plo, phi) \
	VBROADCASTSS phi(BX), Y2; \
	VSUBPS       Y2, lo, Y2; \
	VBROADCASTSS plo(BX), Y3; \
	VSUBPS       hi, Y3, Y3; \
	VMAXPS       Y3, Y2, Y2; \
	VMAXPS       Y8, Y2, Y2; \
	VFMADD231PS  Y2, Y2, Y7

// func nearBoxesAVX2(nd *wideNode, l *pointLanes, d2 *[8]float32) uint32
TEXT ·nearBoxesAVX2(SB), NOSPLIT, $0-28
	MOVQ         nd+0(FP), AX
	MOVQ         l+8(FP), BX
	MOVQ         d2+16(FP), CX
	VXORPS       Y7, Y7, Y7
	VXORPS       Y8, Y8, Y8
	VMOVUPS      (AX), Y0
	VMOVUPS      32(AX), Y1
	APART(Y0, Y1, 0, 12)
	VMOVUPS      64(AX), Y0
	VMOVUPS      96(AX), Y1
	APART(Y0, Y1, 4, 16)
	VMOVUPS      128(AX), Y0
	VMOVUPS      160(AX), Y1
	APART(Y0, Y1, 8, 20)
	VBROADCASTSS 24(BX), Y2
	VCMPPS       $2, Y2, Y7, Y2
	VMOVMSKPS    Y2, DX
	VMOVUPS      Y7, (CX)
	USEDKIDS
	VZEROUPPER
	MOVL         DX, ret+24(FP)
	RET

// EXTENT loads the least and greatest of the facets' corners along an axis to
// Y0 and Y1.
#define EXTENT(at, at2, at3) \
	VMOVUPS at(AX), Y4; \
	VMOVUPS at2(AX), Y5; \
	VMOVUPS at3(AX), Y6; \
	VMINPS  Y5, Y4, Y0; \
	VMINPS  Y6, Y0, Y0; \
	VMAXPS  Y5, Y4, Y1; \
	VMAXPS  Y6, Y1, Y1

// func nearFacetsAVX2(b *block, l *pointLanes) uint32
TEXT ·nearFacetsAVX2(SB), NOSPLIT, $0-20
	MOVQ         b+0(FP), AX
	MOVQ         l+8(FP), BX
	VXORPS       Y7, Y7, Y7
	VXORPS       Y8, Y8, Y8
	EXTENT(0, 96, 192)
	APART(Y0, Y1, 0, 12)
	EXTENT(32, 128, 224)
	APART(Y0, Y1, 4, 16)
	EXTENT(64, 160, 256)
	APART(Y0, Y1, 8, 20)
	VBROADCASTSS 24(BX), Y2
	VCMPPS       $2, Y2, Y7, Y2
	VMOVMSKPS    Y2, DX
	USEDFACETS
	VZEROUPPER
	MOVL         DX, ret+16(FP)
	RET

// MEET narrows the mask Y7 to lanes where lo..hi meets the query along an axis.
#define MEET(lo, hi, qlo, qhi) \
	VBROADCASTSS qhi(BX), Y2; \
	VCMPPS       $2, Y2, lo, Y2; \
	VBROADCASTSS qlo(BX), Y3; \
	VCMPPS       $13, Y3, hi, Y3; \
	VANDPS       Y2, Y7, Y7; \
	VANDPS       Y3, Y7, Y7

// func boxBoxesAVX2(nd *wideNode, l *boxLanes) uint32
TEXT ·boxBoxesAVX2(SB), NOSPLIT, $0-20
	MOVQ         nd+0(FP), AX
	MOVQ         l+8(FP), BX
	VPCMPEQD     Y7, Y7, Y7
	VMOVUPS      (AX), Y0
	VMOVUPS      32(AX), Y1
	MEET(Y0, Y1, 0, 12)
	VMOVUPS      64(AX), Y0
	VMOVUPS      96(AX), Y1
	MEET(Y0, Y1, 4, 16)
	VMOVUPS      128(AX), Y0
	VMOVUPS      160(AX), Y1
	MEET(Y0, Y1, 8, 20)
	VMOVMSKPS    Y7, DX
	USEDKIDS
	VZEROUPPER
	MOVL         DX, ret+16(FP)
	RET

// func boxFacetsAVX2(b *block, l *boxLanes) uint32
TEXT ·boxFacetsAVX2(SB), NOSPLIT, $0-20
	MOVQ         b+0(FP), AX
	MOVQ         l+8(FP), BX
	VPCMPEQD     Y7, Y7, Y7
	EXTENT(0, 96, 192)
	MEET(Y0, Y1, 0, 12)
	EXTENT(32, 128, 224)
	MEET(Y0, Y1, 4, 16)
	EXTENT(64, 160, 256)
	MEET(Y0, Y1, 8, 20)
	VMOVMSKPS    Y7, DX
	USEDFACETS
	VZEROUPPER
	MOVL         DX, ret+16(FP)
	RET

// FROM loads a coordinate of the facets' corners, seen from that of the origin
// in Y15.
#define FROM(at, to) \
	VMOVUPS at(AX), to; \
	VSUBPS  Y15, to, to

// ALONG sets Y12, Y13 and Y14 to how far the corners lie along a normal.
#define ALONG(n) \
	VBROADCASTSS n(BX), Y9; \
	VBROADCASTSS n+4(BX), Y10; \
	VBROADCASTSS n+8(BX), Y11; \
	VMULPS       Y9, Y0, Y12; \
	VMULPS       Y9, Y3, Y13; \
	VMULPS       Y9, Y6, Y14; \
	VFMADD231PS  Y10, Y1, Y12; \
	VFMADD231PS  Y10, Y4, Y13; \
	VFMADD231PS  Y10, Y7, Y14; \
	VFMADD231PS  Y11, Y2, Y12; \
	VFMADD231PS  Y11, Y5, Y13; \
	VFMADD231PS  Y11, Y8, Y14

// BEYOND adds to Y15 the facets whose corners all lie beyond a plane.
#define BEYOND(far) \
	VMINPS       Y13, Y12, Y9; \
	VMINPS       Y14, Y9, Y9; \
	VBROADCASTSS far(BX), Y10; \
	VCMPPS       $14, Y10, Y9, Y9; \
	VORPS        Y9, Y15, Y15

// func besideFacetsAVX2(b *block, l *sideLanes) uint32
TEXT ·besideFacetsAVX2(SB), NOSPLIT, $0-20
	MOVQ         b+0(FP), AX
	MOVQ         l+8(FP), BX
	VBROADCASTSS (BX), Y15
	FROM(0, Y0)
	FROM(96, Y3)
	FROM(192, Y6)
	VBROADCASTSS 4(BX), Y15
	FROM(32, Y1)
	FROM(128, Y4)
	FROM(224, Y7)
	VBROADCASTSS 8(BX), Y15
	FROM(64, Y2)
	FROM(160, Y5)
	FROM(256, Y8)
	VXORPS       Y15, Y15, Y15
	ALONG(28)
	BEYOND(12)
	ALONG(40)
	BEYOND(16)
	ALONG(52)
	BEYOND(20)
	ALONG(64)
	BEYOND(24)

	// Below the facet's plane.
	VMAXPS       Y13, Y12, Y9
	VMAXPS       Y14, Y9, Y9
	VBROADCASTSS 76(BX), Y10
	VCMPPS       $1, Y10, Y9, Y9
	VORPS        Y9, Y15, Y15
	VMOVMSKPS    Y15, DX
	NOTL         DX
	USEDFACETS
	VZEROUPPER
	MOVL         DX, ret+16(FP)
	RET

// ROWS sets out to the sum over the axes of x, y, z times the rows at the offsets.
#define ROWS(at, at2, at3, x, y, z, out) \
	VMULPS      at(AX), x, out; \
	VFMADD231PS at2(AX), y, out; \
	VFMADD231PS at3(AX), z, out

// BELOW sets out to the depth of the flat's corner at the offsets below the
// planes: Y0 less the normals Y10, Y11, Y12 times the corner. Y1 is scratch.
#define BELOW(x, y, z, out) \
	VBROADCASTSS x(BX), Y1; \
	VMULPS       Y1, Y10, out; \
	VBROADCASTSS y(BX), Y1; \
	VFMADD231PS  Y1, Y11, out; \
	VBROADCASTSS z(BX), Y1; \
	VFMADD231PS  Y1, Y12, out; \
	VSUBPS       out, Y0, out; \
	VMULPS       Y14, out, out

// func facingFacetsAVX2(b *block, l *facingLanes) uint32
TEXT ·facingFacetsAVX2(SB), NOSPLIT, $0-20
	MOVQ         b+0(FP), AX
	MOVQ         l+8(FP), BX

	// Cosines in Y13; Y15 are the lanes that pass.
	VMOVUPS      288(AX), Y10
	VMOVUPS      320(AX), Y11
	VMOVUPS      352(AX), Y12
	VBROADCASTSS 40(BX), Y0
	VMULPS       Y0, Y10, Y13
	VBROADCASTSS 44(BX), Y0
	VFMADD231PS  Y0, Y11, Y13
	VBROADCASTSS 48(BX), Y0
	VFMADD231PS  Y0, Y12, Y13
	VBROADCASTSS 104(BX), Y0
	VCMPPS       $14, Y0, Y13, Y15
	VMOVMSKPS    Y15, DX
	USEDFACETS
	JZ           none

	// Distances squared in Y7.
	VXORPS       Y7, Y7, Y7
	VXORPS       Y8, Y8, Y8
	EXTENT(0, 96, 192)
	APART(Y0, Y1, 0, 12)
	EXTENT(32, 128, 224)
	APART(Y0, Y1, 4, 16)
	EXTENT(64, 160, 256)
	APART(Y0, Y1, 8, 20)
	VBROADCASTSS 24(BX), Y2
	VCMPPS       $2, Y2, Y7, Y2
	VANDPS       Y2, Y15, Y15

	// Greatest heights in Y3, the diameter in Y9.
	VBROADCASTSS 28(BX), Y0
	VBROADCASTSS 32(BX), Y1
	VBROADCASTSS 36(BX), Y2
	ROWS(0, 32, 64, Y0, Y1, Y2, Y3)
	ROWS(96, 128, 160, Y0, Y1, Y2, Y4)
	ROWS(192, 224, 256, Y0, Y1, Y2, Y5)
	VMAXPS       Y4, Y3, Y3
	VMAXPS       Y5, Y3, Y3
	VBROADCASTSS 52(BX), Y4
	VSUBPS       Y4, Y3, Y3
	VCMPPS       $14, Y8, Y3, Y5
	VANDPS       Y5, Y15, Y15
	VBROADCASTSS 56(BX), Y9
	VMULPS       Y9, Y3, Y3
	VCMPPS       $2, Y3, Y7, Y5
	VANDPS       Y5, Y15, Y15

	// Depths below the planes: the least in Y5, the greatest in Y6.
	VBROADCASTSS 60(BX), Y14
	ROWS(0, 32, 64, Y10, Y11, Y12, Y0)
	BELOW(68, 72, 76, Y2)
	BELOW(80, 84, 88, Y3)
	BELOW(92, 96, 100, Y4)
	VMINPS       Y3, Y2, Y5
	VMINPS       Y4, Y5, Y5
	VMAXPS       Y3, Y2, Y6
	VMAXPS       Y4, Y6, Y6
	VBROADCASTSS 64(BX), Y1
	VADDPS       Y1, Y6, Y6
	VCMPPS       $14, Y8, Y6, Y6
	VANDPS       Y6, Y15, Y15
	VSUBPS       Y1, Y5, Y5
	VADDPS       Y5, Y5, Y5
	VMOVAPS      Y9, Y1
	VFMADD231PS  Y13, Y9, Y1
	VCMPPS       $2, Y1, Y5, Y5
	VANDPS       Y5, Y15, Y15
	VMOVMSKPS    Y15, DX
	USEDFACETS

none:
	VZEROUPPER
	MOVL DX, ret+16(FP)
	RET
