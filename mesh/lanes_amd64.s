#include "textflag.h"

// Eight lanes at once with AVX2 and FMA; lanes.go says what each does. Offsets
// are those of the structs there and in bvh.go; a test holds them together.

// Eight each of -1, 0, infinity, -infinity, all bits but a sign, and of what
// nearLeafAVX2 measures with (lanes.go): the room for rounding, the squared
// shape and size of a sliver, 1/2, and the room for squaring a distance.
DATA nearConsts<>+0(SB)/8, $0xbf800000bf800000
DATA nearConsts<>+8(SB)/8, $0xbf800000bf800000
DATA nearConsts<>+16(SB)/8, $0xbf800000bf800000
DATA nearConsts<>+24(SB)/8, $0xbf800000bf800000
DATA nearConsts<>+32(SB)/8, $0x0000000000000000
DATA nearConsts<>+40(SB)/8, $0x0000000000000000
DATA nearConsts<>+48(SB)/8, $0x0000000000000000
DATA nearConsts<>+56(SB)/8, $0x0000000000000000
DATA nearConsts<>+64(SB)/8, $0x7f8000007f800000
DATA nearConsts<>+72(SB)/8, $0x7f8000007f800000
DATA nearConsts<>+80(SB)/8, $0x7f8000007f800000
DATA nearConsts<>+88(SB)/8, $0x7f8000007f800000
DATA nearConsts<>+96(SB)/8, $0xff800000ff800000
DATA nearConsts<>+104(SB)/8, $0xff800000ff800000
DATA nearConsts<>+112(SB)/8, $0xff800000ff800000
DATA nearConsts<>+120(SB)/8, $0xff800000ff800000
DATA nearConsts<>+128(SB)/8, $0x7fffffff7fffffff
DATA nearConsts<>+136(SB)/8, $0x7fffffff7fffffff
DATA nearConsts<>+144(SB)/8, $0x7fffffff7fffffff
DATA nearConsts<>+152(SB)/8, $0x7fffffff7fffffff
DATA nearConsts<>+160(SB)/8, $0x3a0000003a000000
DATA nearConsts<>+168(SB)/8, $0x3a0000003a000000
DATA nearConsts<>+176(SB)/8, $0x3a0000003a000000
DATA nearConsts<>+184(SB)/8, $0x3a0000003a000000
DATA nearConsts<>+192(SB)/8, $0x3880000038800000
DATA nearConsts<>+200(SB)/8, $0x3880000038800000
DATA nearConsts<>+208(SB)/8, $0x3880000038800000
DATA nearConsts<>+216(SB)/8, $0x3880000038800000
DATA nearConsts<>+224(SB)/8, $0x2180000021800000
DATA nearConsts<>+232(SB)/8, $0x2180000021800000
DATA nearConsts<>+240(SB)/8, $0x2180000021800000
DATA nearConsts<>+248(SB)/8, $0x2180000021800000
DATA nearConsts<>+256(SB)/8, $0x3f0000003f000000
DATA nearConsts<>+264(SB)/8, $0x3f0000003f000000
DATA nearConsts<>+272(SB)/8, $0x3f0000003f000000
DATA nearConsts<>+280(SB)/8, $0x3f0000003f000000
DATA nearConsts<>+288(SB)/8, $0x3f8000203f800020
DATA nearConsts<>+296(SB)/8, $0x3f8000203f800020
DATA nearConsts<>+304(SB)/8, $0x3f8000203f800020
DATA nearConsts<>+312(SB)/8, $0x3f8000203f800020
GLOBL nearConsts<>(SB), RODATA|NOPTR, $320

// The lanes by number.
DATA laneNumbers<>+0(SB)/8, $0x0000000100000000
DATA laneNumbers<>+8(SB)/8, $0x0000000300000002
DATA laneNumbers<>+16(SB)/8, $0x0000000500000004
DATA laneNumbers<>+24(SB)/8, $0x0000000700000006
GLOBL laneNumbers<>(SB), RODATA|NOPTR, $32

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

// EDGE looks at the side from the corner in x, y, z to the one in x2, y2, z2: it
// narrows Y15 by its distance squared, widens Y14 by its length squared, and
// 232(SP) by how far the point lies beyond it, on which side the normals at
// 72(SP) tell. It takes Y9 to Y13.
#define EDGE(x, y, z, x2, y2, z2) \
	VSUBPS       x, x2, Y9; \
	VSUBPS       y, y2, Y10; \
	VSUBPS       z, z2, Y11; \
	VMULPS       y, Y11, Y12; \
	VFMSUB231PS  z, Y10, Y12; \
	VMULPS       72(SP), Y12, Y12; \
	VMULPS       z, Y9, Y13; \
	VFMSUB231PS  x, Y11, Y13; \
	VFMADD231PS  104(SP), Y13, Y12; \
	VMULPS       x, Y10, Y13; \
	VFMSUB231PS  y, Y9, Y13; \
	VFMADD231PS  136(SP), Y13, Y12; \
	VMAXPS       232(SP), Y12, Y12; \
	VMOVUPS      Y12, 232(SP); \
	VMULPS       Y9, Y9, Y12; \
	VMULPS       x, Y9, Y13; \
	VFMADD231PS  Y10, Y10, Y12; \
	VFMADD231PS  y, Y10, Y13; \
	VFMADD231PS  Y11, Y11, Y12; \
	VFMADD231PS  z, Y11, Y13; \
	VMAXPS       Y12, Y14, Y14; \
	VDIVPS       Y12, Y13, Y13; \
	VMAXPS       nearConsts<>+0(SB), Y13, Y13; \
	VMINPS       nearConsts<>+32(SB), Y13, Y13; \
	VFNMADD213PS x, Y13, Y9; \
	VFNMADD213PS y, Y13, Y10; \
	VFNMADD213PS z, Y13, Y11; \
	VMULPS       Y9, Y9, Y9; \
	VFMADD231PS  Y10, Y10, Y9; \
	VFMADD231PS  Y11, Y11, Y9; \
	VMINPS       Y15, Y9, Y15

// SEEN loads a corner at the offset as seen from the point in Y13, Y14, Y15.
#define SEEN(at, x, y, z) \
	VMOVUPS at(AX), x; \
	VSUBPS  Y13, x, x; \
	VMOVUPS at+32(AX), y; \
	VSUBPS  Y14, y, y; \
	VMOVUPS at+64(AX), z; \
	VSUBPS  Y15, z, z

// RAY loads the ray at BX for RAYBOXES: 1/direction, near, far, tMin and tMax.
#define RAY \
	VBROADCASTSS 0(BX), Y0; \
	VBROADCASTSS 4(BX), Y1; \
	VBROADCASTSS 8(BX), Y2; \
	VBROADCASTSS 12(BX), Y3; \
	VBROADCASTSS 16(BX), Y4; \
	VBROADCASTSS 20(BX), Y5; \
	VBROADCASTSS 24(BX), Y6; \
	VBROADCASTSS 28(BX), Y7; \
	VBROADCASTSS 32(BX), Y8; \
	VBROADCASTSS 36(BX), Y9; \
	VBROADCASTSS 40(BX), Y10; \
	MOVQ         48(BX), R8; \
	MOVQ         56(BX), R9; \
	MOVQ         64(BX), R10

// RAYBOXES goes from the number of a node in AX to the node, sets DX to the
// children that the ray meets and Y11 to where it enters them.
#define RAYBOXES \
	IMUL3Q    $224, AX, AX; \
	ADDQ      SI, AX; \
	MOVQ      72(BX), R11; \
	MOVQ      80(BX), R12; \
	MOVQ      88(BX), R13; \
	SIDES(R8, R9, R10, Y3, Y4, Y5, Y11, Y12, Y13); \
	VMAXPS    Y9, Y11, Y11; \
	VMAXPS    Y13, Y12, Y12; \
	VMAXPS    Y12, Y11, Y11; \
	SIDES(R11, R12, R13, Y6, Y7, Y8, Y12, Y13, Y14); \
	VMINPS    Y10, Y12, Y12; \
	VMINPS    Y14, Y13, Y13; \
	VMINPS    Y13, Y12, Y12; \
	VCMPPS    $2, Y12, Y11, Y13; \
	VMOVMSKPS Y13, DX; \
	TESTL     DX, DX

// RAYFACETS goes from ^ the number of a block in AX to the block, and the number
// to R11; it sets DX to the facets that the line of the ray may meet, and R8 to
// R10 to the offsets of the sheared axes. First the sheared corners, then the
// edge functions, then the tolerance from the largest coordinate.
#define RAYFACETS \
	NOTL         AX; \
	MOVL         AX, R11; \
	IMUL3Q       $416, AX, AX; \
	ADDQ         DI, AX; \
	MOVQ         120(BX), R8; \
	MOVQ         128(BX), R9; \
	MOVQ         136(BX), R10; \
	VBROADCASTSS 96(BX), Y12; \
	VBROADCASTSS 100(BX), Y13; \
	VBROADCASTSS 104(BX), Y14; \
	VBROADCASTSS 108(BX), Y10; \
	VBROADCASTSS 112(BX), Y11; \
	SHEAR(0, Y1, Y2); \
	SHEAR(96, Y3, Y4); \
	SHEAR(192, Y5, Y6); \
	VMULPS       Y4, Y5, Y7; \
	VFNMADD231PS Y3, Y6, Y7; \
	VMULPS       Y6, Y1, Y8; \
	VFNMADD231PS Y5, Y2, Y8; \
	VMULPS       Y2, Y3, Y9; \
	VFNMADD231PS Y1, Y4, Y9; \
	VPCMPEQD     Y15, Y15, Y15; \
	VPSRLD       $1, Y15, Y15; \
	VANDPS       Y15, Y1, Y1; \
	VANDPS       Y15, Y2, Y2; \
	VANDPS       Y15, Y3, Y3; \
	VANDPS       Y15, Y4, Y4; \
	VANDPS       Y15, Y5, Y5; \
	VANDPS       Y15, Y6, Y6; \
	VMAXPS       Y2, Y1, Y1; \
	VMAXPS       Y4, Y3, Y3; \
	VMAXPS       Y6, Y5, Y5; \
	VMAXPS       Y3, Y1, Y1; \
	VMAXPS       Y5, Y1, Y1; \
	VBROADCASTSS 116(BX), Y0; \
	VADDPS       Y0, Y1, Y1; \
	VBROADCASTSS 44(BX), Y0; \
	VMULPS       Y0, Y1, Y1; \
	VXORPS       Y4, Y4, Y4; \
	VSUBPS       Y1, Y4, Y4; \
	VMINPS       Y8, Y7, Y2; \
	VMINPS       Y9, Y2, Y2; \
	VMAXPS       Y8, Y7, Y3; \
	VMAXPS       Y9, Y3, Y3; \
	VCMPPS       $13, Y4, Y2, Y5; \
	VCMPPS       $2, Y1, Y3, Y6; \
	VORPS        Y5, Y6, Y5; \
	VMOVMSKPS    Y5, DX; \
	VMOVUPS      384(AX), Y0; \
	VMOVMSKPS    Y0, R12; \
	ANDNL        DX, R12, DX

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
	RAY

pop:
	CMPQ     CX, stack+24(FP)
	JEQ      none
	SUBQ     $8, CX
	MOVL     (CX), AX
	VMOVSS   4(CX), X11
	VUCOMISS X10, X11
	JHI      pop

visit:
	TESTL AX, AX
	JLT   leaf
	CMPQ  CX, 64(SP)
	JHI   full
	RAYBOXES
	JEQ   pop
	BLSRL DX, R11
	JNE   some
	TZCNTL DX, DX
	MOVL  192(AX)(DX*4), AX
	JMP   visit

some:
	PUSH
	MOVQ 48(BX), R8
	JMP  visit

leaf:
	RAYFACETS
	JEQ  load
	MOVL R11, leaf+56(FP)

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

// The axes kx and ky of a ray (bvh.go), a byte each, by 2 kz and its sign.
DATA rayTurns<>+0(SB)/8, $0x0000010000020201
DATA rayTurns<>+8(SB)/8, $0x0000000102000102
GLOBL rayTurns<>(SB), RODATA|NOPTR, $16

// Numbers that rayWalk.start works with: 2^-22, 2^-21, 4, 1 + 2^-20, 6, 2^60,
// 2^-60 and 1.
DATA rayConsts<>+0(SB)/8, $0x3e90000000000000
DATA rayConsts<>+8(SB)/8, $0x3ea0000000000000
DATA rayConsts<>+16(SB)/8, $0x4010000000000000
DATA rayConsts<>+24(SB)/8, $0x3ff0000100000000
DATA rayConsts<>+32(SB)/8, $0x4018000000000000
DATA rayConsts<>+40(SB)/8, $0x43b0000000000000
DATA rayConsts<>+48(SB)/8, $0x3c30000000000000
DATA rayConsts<>+56(SB)/8, $0x3ff0000000000000
GLOBL rayConsts<>(SB), RODATA|NOPTR, $64

// ABOVE rounds the double in X to single precision, a little up; X11 is scratch,
// Y15 all bits but a sign.
#define ABOVE(X) \
	VANDPD    X15, X, X11; \
	VMULSD    rayConsts<>+0(SB), X11, X11; \
	VADDSD    X11, X, X; \
	VCVTSD2SS X, X, X

// EXACT loads a coordinate of the corners of the facet at R12 in double precision,
// as seen from the origin's at the offset of the frame.
#define EXACT(axis, from, Y, X) \
	VMOVSS       (R12)(axis*1), X; \
	VINSERTPS    $0x10, 96(R12)(axis*1), X, X; \
	VINSERTPS    $0x20, 192(R12)(axis*1), X, X; \
	VCVTPS2PD    X, Y; \
	VBROADCASTSD from(SP), Y15; \
	VSUBPD       Y15, Y, Y

// CORNERS does so with the corners at R13, R15 and R14 of the mesh.
#define CORNERS(axis, from, Y, X) \
	VMOVSD       (R13)(axis*1), X; \
	VMOVHPD      (R15)(axis*1), X, X; \
	VMOVSD       (R14)(axis*1), X3; \
	VINSERTF128  $1, X3, Y, Y; \
	VBROADCASTSD from(SP), Y15; \
	VSUBPD       Y15, Y, Y

// The frame: 64 bytes for PUSH, where the stack has no room for a node's children,
// rayLanes at 72, in double precision the origin along the sheared axes at 216,
// sx, sy and sz at 240, scale at 264, the nearest t at 272, its facet at 280, kz
// at 284, and the stack at 288.

// func rayFirstAVX2(o, d *Vec, tMin, tMax, most float64, nodes *wideNode, blocks *block, verts *Vec, facets *[3]int32, root int32) (t float64, facet int32, full bool)
TEXT ·rayFirstAVX2(SB), 0, $800-93
	MOVL   $-1, 280(SP)
	MOVB   $0, full+92(FP)
	VMOVSD tMax+24(FP), X8
	VMOVSD X8, 272(SP)
	LEAQ   72(SP), BX
	LEAQ   288(SP), CX

	// The axis along which the ray goes furthest, and how far: X3.
	MOVQ     d+8(FP), AX
	VPCMPEQD Y15, Y15, Y15
	VPSRLQ   $1, Y15, Y15
	VMOVSD   0(AX), X0
	VMOVSD   8(AX), X1
	VMOVSD   16(AX), X2
	VANDPD   X15, X0, X3
	VANDPD   X15, X1, X4
	VANDPD   X15, X2, X5
	XORL     R10, R10
	MOVL     $1, R11
	MOVL     $2, R12
	VUCOMISD X3, X4
	CMOVLHI  R11, R10
	VMAXSD   X3, X4, X3
	VUCOMISD X3, X5
	CMOVLHI  R12, R10
	VMAXSD   X3, X5, X3
	MOVL     R10, 284(SP)
	VMOVSD   X3, 264(SP)
	VXORPD   X6, X6, X6
	VUCOMISD X6, X3
	JLS      none
	VMOVSD   tMin+16(FP), X7
	VUCOMISD X7, X8
	JCS      none

	// tMin and tMax in the lanes' lengths.
	VMULSD X3, X8, X8
	ABOVE(X8)
	VMULSD X3, X7, X7
	VSUBSD X7, X6, X7
	ABOVE(X7)
	VSUBSS X7, X6, X7

	// Y5: how far off a coordinate may be; Y6: four times the largest.
	MOVQ         o+0(FP), AX
	VMOVSD       0(AX), X12
	VMOVHPD      8(AX), X12, X12
	VMOVDDUP     16(AX), X13
	VINSERTF128  $1, X13, Y12, Y12
	VANDPD       Y15, Y12, Y4
	VEXTRACTF128 $1, Y4, X5
	VMAXPD       X5, X4, X4
	VPERMILPD    $1, X4, X5
	VMAXSD       X5, X4, X4
	VADDSD       most+32(FP), X4, X4
	VMULSD       rayConsts<>+8(SB), X4, X5
	VMULSD       rayConsts<>+16(SB), X4, X6
	VMOVSD       X5, 240(SP)
	VBROADCASTSD X5, Y5
	VBROADCASTSD X6, Y6

	// 1/direction, but for axes along which the ray hardly drifts.
	VUNPCKLPD    X1, X0, X0
	VMOVDDUP     X2, X2
	VINSERTF128  $1, X2, Y0, Y0
	VBROADCASTSD X3, Y1
	VDIVPD       Y0, Y1, Y2
	VANDPD       Y15, Y0, Y0
	VMULPD       Y6, Y0, Y0
	VMULPD       Y5, Y1, Y1
	VCMPPD       $2, Y1, Y0, Y0
	VMOVMSKPD    Y0, R11
	TESTL        R11, R11
	JEQ          drifts
	VMOVSD       rayConsts<>+40(SB), X1
	VMAXSD       rayConsts<>+48(SB), X6, X6
	VDIVSD       X6, X1, X1
	VBROADCASTSD X1, Y1
	VBLENDVPD    Y0, Y1, Y2, Y2
	VADDPD       Y5, Y5, Y1
	VBLENDVPD    Y0, Y1, Y5, Y5

drifts:
	VCVTPD2PSY Y2, X2
	VCVTPS2PD  X2, Y1
	VMULPD     Y1, Y12, Y12
	VMULPD     Y1, Y5, Y5
	VANDPD     Y15, Y5, Y5
	VADDPD     Y5, Y12, Y0
	VSUBPD     Y5, Y12, Y1
	VCVTPD2PSY Y0, X0
	VCVTPD2PSY Y1, X1
	VMOVUPS    X2, 0(BX)
	VMOVUPS    X0, 12(BX)
	VMOVUPS    X1, 24(BX)
	VMOVSS     X7, 36(BX)
	VMOVSS     X8, 40(BX)

	// The near and the far sides by the signs.
	VMOVMSKPS X2, R8
	MOVL      R8, R9
	MOVL      R8, R11
	SHLL      $5, R8
	SHLL      $4, R9
	SHLL      $3, R11
	ANDL      $32, R8
	ANDL      $32, R9
	ANDL      $32, R11
	ADDL      $64, R9
	ADDL      $128, R11
	MOVQ      R8, 48(BX)
	MOVQ      R9, 56(BX)
	MOVQ      R11, 64(BX)
	XORL      $32, R8
	XORL      $32, R9
	XORL      $32, R11
	MOVQ      R8, 72(BX)
	MOVQ      R9, 80(BX)
	MOVQ      R11, 88(BX)
	MOVQ      $-1, 120(BX)

	MOVQ  nodes+40(FP), SI
	MOVQ  blocks+48(FP), DI
	LEAQ  448(CX), AX
	MOVQ  AX, 64(SP)
	RAY
	MOVL  root+72(FP), AX
	JMP   visit

	// What only facets ask for: the room for rounding, the axes to shear along,
	// and the shear.
shear:
	VMOVSD       240(SP), X0
	VMULSD       rayConsts<>+24(SB), X0, X0
	VMULSD       rayConsts<>+32(SB), X0, X1
	VCVTSD2SS    X0, X0, X0
	VCVTSD2SS    X1, X1, X1
	VMOVSS       X0, 116(BX)
	VMOVSS       X1, 44(BX)
	MOVQ         d+8(FP), R11
	MOVL         284(SP), R10
	MOVQ         (R11)(R10*8), R12
	SHRQ         $63, R12
	LEAQ         (R12)(R10*2), R12
	LEAQ         rayTurns<>(SB), R13
	MOVBQZX      (R13)(R12*1), R8
	MOVBQZX      8(R13)(R12*1), R9
	VMOVSD       (R11)(R8*8), X0
	VMOVHPD      (R11)(R9*8), X0, X0
	VMOVSD       rayConsts<>+56(SB), X1
	VINSERTF128  $1, X1, Y0, Y0
	VBROADCASTSD (R11)(R10*8), Y1
	VDIVPD       Y1, Y0, Y0
	VMOVUPD      X0, 240(SP)
	VEXTRACTF128 $1, Y0, X1
	VMOVSD       X1, 256(SP)
	VCVTPD2PSX   X0, X0
	VMOVLPS      X0, 108(BX)
	MOVQ         o+0(FP), R11
	VMOVSD       (R11)(R8*8), X0
	VMOVHPD      (R11)(R9*8), X0, X0
	VMOVSD       (R11)(R10*8), X1
	VMOVUPD      X0, 216(SP)
	VMOVSD       X1, 232(SP)
	VCVTPD2PSX   X0, X0
	VCVTSD2SS    X1, X1, X1
	VMOVLPS      X0, 96(BX)
	VMOVSS       X1, 104(BX)
	SHLL         $5, R8
	SHLL         $5, R9
	SHLL         $5, R10
	MOVQ         R8, 120(BX)
	MOVQ         R9, 128(BX)
	MOVQ         R10, 136(BX)
	JMP          leaf

load:
	RAY

pop:
	LEAQ     288(SP), AX
	CMPQ     CX, AX
	JEQ      none
	SUBQ     $8, CX
	MOVL     (CX), AX
	VMOVSS   4(CX), X11
	VUCOMISS X10, X11
	JHI      pop

visit:
	TESTL  AX, AX
	JLT    leaf
	CMPQ   CX, 64(SP)
	JHI    full
	RAYBOXES
	JEQ    pop
	BLSRL  DX, R11
	JNE    some
	TZCNTL DX, DX
	MOVL   192(AX)(DX*4), AX
	JMP    visit

some:
	PUSH
	MOVQ 48(BX), R8
	JMP  visit

leaf:
	CMPQ 120(BX), $0
	JLT  shear
	RAYFACETS
	JEQ  load

	// Facets that may be met in double precision, as rayWalk.facet: corners along
	// kz in Y0, sheared along kx in Y1 and along ky in Y2; the edge functions in Y3.
facet:
	TZCNTL       DX, R13
	LEAQ         (AX)(R13*4), R12
	MOVQ         verts+56(FP), R11
	TESTQ        R11, R11
	JNE          double
	EXACT(R10, 232, Y0, X0)
	EXACT(R8, 216, Y1, X1)
	EXACT(R9, 224, Y2, X2)

shift:
	VBROADCASTSD 240(SP), Y3
	VBROADCASTSD 248(SP), Y4
	VMULPD       Y0, Y3, Y3
	VMULPD       Y0, Y4, Y4
	VSUBPD       Y3, Y1, Y1
	VSUBPD       Y4, Y2, Y2
	VPERMPD      $0xd2, Y1, Y3
	VPERMPD      $0xc9, Y2, Y4
	VPERMPD      $0xd2, Y2, Y5
	VPERMPD      $0xc9, Y1, Y6
	VMULPD       Y4, Y3, Y3
	VMULPD       Y6, Y5, Y5
	VSUBPD       Y5, Y3, Y3
	VXORPD       Y4, Y4, Y4
	VCMPPD       $1, Y4, Y3, Y5
	VCMPPD       $14, Y4, Y3, Y6
	VMOVMSKPD    Y5, R9
	VMOVMSKPD    Y6, R13
	TESTL        $7, R9
	JEQ          inside
	TESTL        $7, R13
	JNE          next2

inside:
	VPERMILPD    $1, X3, X5
	VEXTRACTF128 $1, Y3, X6
	VADDSD       X5, X3, X7
	VADDSD       X6, X7, X7       // the determinant
	VUCOMISD     X4, X7
	JEQ          next2
	VMULPD       Y0, Y3, Y0
	VPERMILPD    $1, X0, X5
	VEXTRACTF128 $1, Y0, X6
	VADDSD       X5, X0, X0
	VADDSD       X6, X0, X0
	VMULSD       256(SP), X0, X0
	VDIVSD       X7, X0, X0       // t
	VUCOMISD     tMin+16(FP), X0
	JLS          next2
	VMOVSD       272(SP), X5
	VUCOMISD     X5, X0
	JHI          next2
	MOVL         384(R12), R13
	JCS          nearer
	CMPL         R13, 280(SP)     // of two at the same t the lower number
	JGE          next2

nearer:
	MOVL   R13, 280(SP)
	VMOVSD X0, 272(SP)
	VMULSD 264(SP), X0, X0
	VPCMPEQD Y15, Y15, Y15
	VPSRLQ $1, Y15, Y15
	ABOVE(X0)
	VMOVSS X0, 40(BX)

next2:
	BLSRL DX, DX
	JEQ   load
	MOVQ  120(BX), R8
	MOVQ  128(BX), R9
	MOVQ  136(BX), R10
	JMP   facet

	// Corners that are no single-precision numbers, from the mesh itself.
double:
	MOVLQSX 384(R12), R13
	MOVQ    facets+64(FP), R14
	LEAQ    (R13)(R13*2), R13
	LEAQ    (R14)(R13*4), R14
	MOVLQSX 0(R14), R13
	MOVLQSX 4(R14), R15
	MOVLQSX 8(R14), R14
	LEAQ    (R13)(R13*2), R13
	LEAQ    (R15)(R15*2), R15
	LEAQ    (R14)(R14*2), R14
	LEAQ    (R11)(R13*8), R13
	LEAQ    (R11)(R15*8), R15
	LEAQ    (R11)(R14*8), R14
	SHRL    $2, R8
	SHRL    $2, R9
	SHRL    $2, R10
	CORNERS(R10, 232, Y0, X0)
	CORNERS(R8, 216, Y1, X1)
	CORNERS(R9, 224, Y2, X2)
	JMP     shift

full:
	MOVB $1, full+92(FP)

none:
	VZEROUPPER
	MOVQ 272(SP), AX
	MOVQ AX, t+80(FP)
	MOVL 280(SP), AX
	MOVL AX, facet+88(FP)
	RET

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

// BOXES sets Y11 to the square of the distance of the point from the boxes of the
// node at AX. Y0 to Y5 are its coordinates, greatest and least, Y7 is zero.
#define BOXES \
	VMOVUPS     (AX), Y11; \
	VSUBPS      Y0, Y11, Y11; \
	VSUBPS      32(AX), Y3, Y12; \
	VMAXPS      Y12, Y11, Y11; \
	VMAXPS      Y7, Y11, Y11; \
	VMULPS      Y11, Y11, Y11; \
	VMOVUPS     64(AX), Y12; \
	VSUBPS      Y1, Y12, Y12; \
	VSUBPS      96(AX), Y4, Y13; \
	VMAXPS      Y13, Y12, Y12; \
	VMAXPS      Y7, Y12, Y12; \
	VFMADD231PS Y12, Y12, Y11; \
	VMOVUPS     128(AX), Y12; \
	VSUBPS      Y2, Y12, Y12; \
	VSUBPS      160(AX), Y5, Y13; \
	VMAXPS      Y13, Y12, Y12; \
	VMAXPS      Y7, Y12, Y12; \
	VFMADD231PS Y12, Y12, Y11

// POINT loads the point at BX for BOXES, and its reach to Y6.
#define POINT \
	VBROADCASTSS 12(BX), Y0; \
	VBROADCASTSS 16(BX), Y1; \
	VBROADCASTSS 20(BX), Y2; \
	VBROADCASTSS 0(BX), Y3; \
	VBROADCASTSS 4(BX), Y4; \
	VBROADCASTSS 8(BX), Y5; \
	VBROADCASTSS 24(BX), Y6; \
	VXORPS       Y7, Y7, Y7

// REACHED sets DX to the children of the node at AX with Y11 within reach.
#define REACHED \
	VCMPPS    $2, Y6, Y11, Y13; \
	VMOVMSKPS Y13, DX; \
	VPCMPEQD  192(AX), Y7, Y13; \
	VMOVMSKPS Y13, R11; \
	ANDNL     DX, R11, DX

// func nearBoxesAVX2(nd *wideNode, l *pointLanes, d2 *[8]float32) uint32
TEXT ·nearBoxesAVX2(SB), NOSPLIT, $0-28
	MOVQ    nd+0(FP), AX
	MOVQ    l+8(FP), BX
	MOVQ    d2+16(FP), CX
	POINT
	BOXES
	REACHED
	VMOVUPS Y11, (CX)
	VZEROUPPER
	MOVL    DX, ret+24(FP)
	RET

// func nearFirstAVX2(l *nearLanes, nodes *wideNode) int32
TEXT ·nearFirstAVX2(SB), NOSPLIT, $0-20
	MOVQ    l+0(FP), BX
	MOVQ    nodes+8(FP), SI
	VMOVDQU laneNumbers<>(SB), Y9
	VPCMPEQD Y10, Y10, Y10
	VPSLLD  $3, Y10, Y10         // all bits but the lowest three
	POINT
	XORL    AX, AX

down:
	MOVL         AX, R8
	IMUL3Q       $224, AX, AX
	ADDQ         SI, AX
	BOXES
	REACHED
	JEQ          first

	// The nearest: its number stands in the lowest bits of its distance. Boxes
	// of no child are infinitely far.
	VPAND        Y10, Y11, Y11
	VPOR         Y9, Y11, Y11
	VEXTRACTI128 $1, Y11, X12
	VPMINUD      X12, X11, X11
	VPSHUFD      $0x4e, X11, X12
	VPMINUD      X12, X11, X11
	VPSHUFD      $0xb1, X11, X12
	VPMINUD      X12, X11, X11
	VMOVD        X11, DX
	ANDL         $7, DX
	MOVL         192(AX)(DX*4), AX
	TESTL        AX, AX
	JGT          down
	MOVL         AX, R8

first:
	VZEROUPPER
	MOVL R8, ret+16(FP)
	RET

// func nearLeafAVX2(l *nearLanes, nodes *wideNode, blocks *block, stack *waiting, n, room int) (left int, leaf, mask uint32)
TEXT ·nearLeafAVX2(SB), NOSPLIT, $264-64
	MOVQ l+0(FP), BX
	MOVQ nodes+8(FP), SI
	MOVQ blocks+16(FP), DI
	MOVQ stack+24(FP), CX
	MOVQ room+40(FP), AX
	LEAQ -64(CX)(AX*8), AX
	MOVQ AX, 64(SP)           // beyond this there is no room for a node's children
	MOVQ n+32(FP), AX
	LEAQ (CX)(AX*8), CX

load:
	POINT

pop:
	CMPQ     CX, stack+24(FP)
	JEQ      none
	SUBQ     $8, CX
	MOVL     (CX), AX
	VMOVSS   4(CX), X11
	VUCOMISS X6, X11
	JHI      pop

visit:
	TESTL  AX, AX
	JLT    leaf
	CMPQ   CX, 64(SP)
	JHI    full
	IMUL3Q $224, AX, AX
	ADDQ   SI, AX
	BOXES
	REACHED
	JEQ    pop
	BLSRL  DX, R11
	JNE    some
	TZCNTL DX, DX
	MOVL   192(AX)(DX*4), AX
	JMP    visit

some:
	PUSH
	JMP visit

leaf:
	NOTL         AX
	MOVL         AX, R11
	IMUL3Q       $416, AX, AX
	ADDQ         DI, AX
	VBROADCASTSS 28(BX), Y13
	VBROADCASTSS 32(BX), Y14
	VBROADCASTSS 36(BX), Y15
	SEEN(0, Y0, Y1, Y2)
	SEEN(96, Y3, Y4, Y5)
	SEEN(192, Y6, Y7, Y8)

	// Normals, not of length 1: their squares to 168(SP), the heights of the
	// point over the planes times their lengths to 200(SP).
	VSUBPS      Y0, Y3, Y9
	VSUBPS      Y1, Y4, Y10
	VSUBPS      Y2, Y5, Y11
	VSUBPS      Y0, Y6, Y12
	VSUBPS      Y1, Y7, Y13
	VSUBPS      Y2, Y8, Y14
	VMULPS      Y11, Y13, Y15
	VFMSUB231PS Y10, Y14, Y15
	VMULPS      Y9, Y14, Y14
	VFMSUB231PS Y11, Y12, Y14
	VMULPS      Y10, Y12, Y12
	VFMSUB231PS Y9, Y13, Y12
	VMOVUPS     Y15, 72(SP)
	VMOVUPS     Y14, 104(SP)
	VMOVUPS     Y12, 136(SP)
	VMULPS      Y15, Y15, Y9
	VMULPS      Y15, Y0, Y10
	VFMADD231PS Y14, Y14, Y9
	VFMADD231PS Y14, Y1, Y10
	VFMADD231PS Y12, Y12, Y9
	VFMADD231PS Y12, Y2, Y10
	VMOVUPS     Y9, 168(SP)
	VMOVUPS     Y10, 200(SP)
	VMOVUPS     nearConsts<>+64(SB), Y15
	VXORPS      Y14, Y14, Y14
	VMOVUPS     nearConsts<>+96(SB), Y12
	VMOVUPS     Y12, 232(SP)
	EDGE(Y0, Y1, Y2, Y3, Y4, Y5)
	EDGE(Y3, Y4, Y5, Y6, Y7, Y8)
	EDGE(Y6, Y7, Y8, Y0, Y1, Y2)

	// What the distances may be off by, from the largest coordinate: Y0.
	VMOVUPS      nearConsts<>+128(SB), Y9
	VANDPS       Y9, Y0, Y0
	VANDPS       Y9, Y1, Y1
	VANDPS       Y9, Y2, Y2
	VANDPS       Y9, Y3, Y3
	VANDPS       Y9, Y4, Y4
	VANDPS       Y9, Y5, Y5
	VANDPS       Y9, Y6, Y6
	VANDPS       Y9, Y7, Y7
	VANDPS       Y9, Y8, Y8
	VMAXPS       Y1, Y0, Y0
	VMAXPS       Y3, Y2, Y2
	VMAXPS       Y5, Y4, Y4
	VMAXPS       Y7, Y6, Y6
	VMAXPS       Y8, Y0, Y0
	VMAXPS       Y4, Y2, Y2
	VMAXPS       Y6, Y0, Y0
	VMAXPS       Y2, Y0, Y0
	VBROADCASTSS 44(BX), Y1
	VFMADD132PS  nearConsts<>+160(SB), Y1, Y0

	// Facets that are no slivers: Y3. Of those right below the point, the
	// distance is that of the plane.
	VMOVUPS   168(SP), Y1
	VMULPS    Y14, Y14, Y2
	VMULPS    nearConsts<>+192(SB), Y2, Y2
	VMAXPS    nearConsts<>+224(SB), Y2, Y2
	VCMPPS    $13, Y2, Y1, Y3
	VSQRTPS   Y1, Y1
	VANDPS    200(SP), Y9, Y4
	VDIVPS    Y1, Y4, Y4
	VXORPS    Y5, Y5, Y5
	VMOVUPS   232(SP), Y6
	VCMPPS    $2, Y5, Y6, Y6
	VANDPS    Y3, Y6, Y6
	VSQRTPS   Y15, Y15
	VBLENDVPS Y6, Y4, Y15, Y15

	// No point of a sliver is further from its sides than half its width: Y4.
	VSQRTPS   Y14, Y4
	VDIVPS    Y4, Y1, Y4
	VMULPS    nearConsts<>+256(SB), Y4, Y4
	VANDNPS   Y4, Y3, Y4
	VSUBPS    Y0, Y15, Y5
	VSUBPS    Y4, Y5, Y5

	// The nearest is no further than any, and its room for rounding. Of slivers
	// the distance in double precision may be further off than here.
	VBROADCASTSS 40(BX), Y7
	VMOVUPS      384(AX), Y8
	CMPL         48(BX), $0
	JEQ          reach
	VADDPS       Y0, Y15, Y6
	VBLENDVPS    Y3, Y6, Y7, Y6
	VBLENDVPS    Y8, Y7, Y6, Y6
	VMINPS       Y7, Y6, Y6
	VEXTRACTF128 $1, Y6, X7
	VMINPS       X7, X6, X6
	VPSHUFD      $0x4e, X6, X7
	VMINPS       X7, X6, X6
	VPSHUFD      $0xb1, X6, X7
	VMINPS       X7, X6, X6
	VMOVSS       X6, 40(BX)
	VBROADCASTSS X6, Y7
	VMULSS       X6, X6, X6
	VMULSS       nearConsts<>+288(SB), X6, X6
	VMOVSS       24(BX), X9
	VMINSS       X9, X6, X6
	VMOVSS       X6, 24(BX)

reach:
	VCMPPS    $14, Y7, Y5, Y5
	VORPS     Y8, Y5, Y5      // none is there, or beyond reach
	VMOVMSKPS Y5, DX
	XORL      $255, DX
	JEQ       load
	MOVL      R11, leaf+56(FP)

done:
	VZEROUPPER
	MOVL DX, mask+60(FP)
	SUBQ stack+24(FP), CX
	SHRQ $3, CX
	MOVQ CX, left+48(FP)
	RET

full:
	MOVL AX, (CX)
	MOVL $0, 4(CX)
	ADDQ $8, CX

none:
	XORL DX, DX
	MOVL DX, leaf+56(FP)
	JMP  done

// MEET narrows a mask to lanes where lo..hi meets the query along an axis.
#define MEET(lo, hi, qlo, qhi, mask) \
	VBROADCASTSS qhi(BX), Y2; \
	VCMPPS       $2, Y2, lo, Y2; \
	VBROADCASTSS qlo(BX), Y3; \
	VCMPPS       $13, Y3, hi, Y3; \
	VANDPS       Y2, mask, mask; \
	VANDPS       Y3, mask, mask

// func boxBoxesAVX2(nd *wideNode, l *boxLanes) uint32
TEXT ·boxBoxesAVX2(SB), NOSPLIT, $0-20
	MOVQ         nd+0(FP), AX
	MOVQ         l+8(FP), BX
	VPCMPEQD     Y7, Y7, Y7
	VMOVUPS      (AX), Y0
	VMOVUPS      32(AX), Y1
	MEET(Y0, Y1, 0, 12, Y7)
	VMOVUPS      64(AX), Y0
	VMOVUPS      96(AX), Y1
	MEET(Y0, Y1, 4, 16, Y7)
	VMOVUPS      128(AX), Y0
	VMOVUPS      160(AX), Y1
	MEET(Y0, Y1, 8, 20, Y7)
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
	MEET(Y0, Y1, 0, 12, Y7)
	EXTENT(32, 128, 224)
	MEET(Y0, Y1, 4, 16, Y7)
	EXTENT(64, 160, 256)
	MEET(Y0, Y1, 8, 20, Y7)
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

// PLACED adds to Y7 the square of the distance along an axis, less the room for
// rounding, from where balls between the radii Y9 and Y2 touch the planes to the
// facets, of which the rows at the offsets are corners and N the normals.
#define PLACED(at, at2, at3, N, in, plo, phi) \
	VBROADCASTSS in(BX), Y13; \
	VFMADD231PS  Y14, N, Y13; \
	VMULPS       Y13, Y9, Y0; \
	VMULPS       Y13, Y2, Y1; \
	VMINPS       Y1, Y0, Y4; \
	VMAXPS       Y1, Y0, Y13; \
	VBROADCASTSS plo(BX), Y5; \
	VADDPS       Y5, Y4, Y4; \
	VBROADCASTSS phi(BX), Y5; \
	VADDPS       Y5, Y13, Y13; \
	VMOVUPS      at(AX), Y0; \
	VMINPS       at2(AX), Y0, Y1; \
	VMINPS       at3(AX), Y1, Y1; \
	VMAXPS       at2(AX), Y0, Y0; \
	VMAXPS       at3(AX), Y0, Y0; \
	VSUBPS       Y13, Y1, Y1; \
	VSUBPS       Y0, Y4, Y4; \
	VMAXPS       Y4, Y1, Y1; \
	VBROADCASTSS 64(BX), Y5; \
	VSUBPS       Y5, Y1, Y1; \
	VMAXPS       Y8, Y1, Y1; \
	VFMADD231PS  Y1, Y1, Y7

// SPAN sets Y0 and Y1 to the least and the most that facets reach along the
// direction at the offset. It takes Y2 to Y6.
#define SPAN(n) \
	VBROADCASTSS n(BX), Y0; \
	VBROADCASTSS n+4(BX), Y1; \
	VBROADCASTSS n+8(BX), Y2; \
	ROWS(0, 32, 64, Y0, Y1, Y2, Y3); \
	ROWS(96, 128, 160, Y0, Y1, Y2, Y4); \
	ROWS(192, 224, 256, Y0, Y1, Y2, Y5); \
	VMINPS       Y4, Y3, Y0; \
	VMINPS       Y5, Y0, Y0; \
	VMAXPS       Y4, Y3, Y1; \
	VMAXPS       Y5, Y1, Y1

// HIGHEST adds to Y14 how high the boxes of the node at AX reach at most along an
// axis, of which the direction at the offset is a part; they are in Y0 and Y1.
#define HIGHEST(n) \
	VBROADCASTSS n(BX), Y2; \
	VMULPS       Y2, Y0, Y3; \
	VMULPS       Y2, Y1, Y4; \
	VMAXPS       Y4, Y3, Y3; \
	VADDPS       Y3, Y14, Y14

// func facingBoxesAVX2(nd *wideNode, c *wideCone, l *facingLanes, d2 *[8]float32) uint32
TEXT ·facingBoxesAVX2(SB), NOSPLIT, $0-36
	MOVQ         nd+0(FP), AX
	MOVQ         c+8(FP), R8
	MOVQ         l+16(FP), BX
	MOVQ         d2+24(FP), CX

	// Lanes that pass in Y15: first those whose normals may oppose.
	VBROADCASTSS 40(BX), Y0
	VBROADCASTSS 44(BX), Y1
	VBROADCASTSS 48(BX), Y2
	VMULPS       (R8), Y0, Y3
	VFMADD231PS  32(R8), Y1, Y3
	VFMADD231PS  64(R8), Y2, Y3
	VMOVUPS      96(R8), Y4
	VCMPPS       $13, Y4, Y3, Y15

	// Distances squared in Y7, heights in Y14.
	VXORPS       Y7, Y7, Y7
	VXORPS       Y8, Y8, Y8
	VBROADCASTSS 52(BX), Y14
	VSUBPS       Y14, Y8, Y14
	VMOVUPS      (AX), Y0
	VMOVUPS      32(AX), Y1
	APART(Y0, Y1, 0, 12)
	MEET(Y0, Y1, 152, 164, Y15)
	HIGHEST(28)
	VMOVUPS      64(AX), Y0
	VMOVUPS      96(AX), Y1
	APART(Y0, Y1, 4, 16)
	MEET(Y0, Y1, 156, 168, Y15)
	HIGHEST(32)
	VMOVUPS      128(AX), Y0
	VMOVUPS      160(AX), Y1
	APART(Y0, Y1, 8, 20)
	MEET(Y0, Y1, 160, 172, Y15)
	HIGHEST(36)
	VMOVUPS      Y7, (CX)
	VBROADCASTSS 24(BX), Y2
	VCMPPS       $2, Y2, Y7, Y2
	VANDPS       Y2, Y15, Y15
	VCMPPS       $14, Y8, Y14, Y2
	VANDPS       Y2, Y15, Y15
	VBROADCASTSS 56(BX), Y2
	VMULPS       Y2, Y14, Y14
	VCMPPS       $2, Y14, Y7, Y2
	VANDPS       Y2, Y15, Y15
	VMOVMSKPS    Y15, DX
	USEDKIDS
	VZEROUPPER
	MOVL         DX, ret+32(FP)
	RET

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
	MEET(Y0, Y1, 152, 164, Y15)
	EXTENT(32, 128, 224)
	APART(Y0, Y1, 4, 16)
	MEET(Y0, Y1, 156, 168, Y15)
	EXTENT(64, 160, 256)
	APART(Y0, Y1, 8, 20)
	MEET(Y0, Y1, 160, 172, Y15)
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
	VMOVAPS      Y3, Y7

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
	VADDPS       Y1, Y6, Y2
	VCMPPS       $14, Y8, Y2, Y6
	VANDPS       Y6, Y15, Y15
	VSUBPS       Y1, Y5, Y5
	VMAXPS       Y8, Y5, Y4
	VADDPS       Y5, Y5, Y5
	VMOVAPS      Y9, Y1
	VFMADD231PS  Y13, Y9, Y1
	VCMPPS       $2, Y1, Y5, Y5
	VANDPS       Y5, Y15, Y15
	VMOVMSKPS    Y15, DX
	USEDFACETS
	JZ           none
	CMPL         108(BX), $0
	JEQ          boxes

	// Radii of the balls that the planes stop, in Y9 and Y2; in Y3, height times
	// how much larger balls may be than the least of those.
	VMULPS       Y9, Y4, Y4
	VDIVPS       Y1, Y4, Y4
	VMULPS       Y9, Y2, Y2
	VDIVPS       Y1, Y2, Y2
	VADDPS       Y4, Y4, Y5
	VDIVPS       Y9, Y5, Y5
	VMOVAPS      Y7, Y3
	VFNMADD231PS Y5, Y7, Y3
	VMOVAPS      Y4, Y9
	VXORPS       Y7, Y7, Y7
	PLACED(0, 96, 192, Y10, 28, 0, 12)
	PLACED(32, 128, 224, Y11, 32, 4, 16)
	PLACED(64, 160, 256, Y12, 36, 8, 20)
	VCMPPS       $2, Y3, Y7, Y5
	VANDPS       Y5, Y15, Y15
	VMOVMSKPS    Y15, DX
	USEDFACETS
	JZ           none

boxes:
	VBROADCASTSS 56(BX), Y9

	// Least and greatest heights in Y0 and Y1, distances across squared in Y7,
	// the height that serves best in Y0.
	SPAN(28)
	VBROADCASTSS 52(BX), Y4
	VBROADCASTSS 64(BX), Y5
	VSUBPS       Y4, Y0, Y0
	VSUBPS       Y4, Y1, Y10
	VADDPS       Y5, Y5, Y5
	VSUBPS       Y5, Y0, Y0
	VMAXPS       Y8, Y0, Y11
	VXORPS       Y7, Y7, Y7
	SPAN(112)
	APART(Y0, Y1, 136, 140)
	SPAN(124)
	APART(Y0, Y1, 144, 148)
	VSQRTPS      Y7, Y0
	VMAXPS       Y11, Y0, Y0
	VMINPS       Y10, Y0, Y0
	VMULPS       Y0, Y9, Y1
	VFMADD231PS  Y0, Y0, Y7
	VCMPPS       $2, Y1, Y7, Y5
	VANDPS       Y5, Y15, Y15
	VMOVMSKPS    Y15, DX
	USEDFACETS

none:
	VZEROUPPER
	MOVL DX, ret+16(FP)
	RET

// ITEM loads the least and greatest coordinates of the item at SI to X0 and X1,
// and twice their middle to X2. X6 is zero: so are the fourth lanes.
#define ITEM \
	VMOVUPS  (SI), X0; \
	VMOVUPS  12(SI), X1; \
	VBLENDPS $8, X6, X0, X0; \
	VBLENDPS $8, X6, X1, X1; \
	VADDPS   X1, X0, X2

// BIN widens the bin at the offset in R by the item.
#define BIN(at, R) \
	VMINPS  at(BX)(R*1), X0, X2; \
	VMOVUPS X2, at(BX)(R*1); \
	VMAXPS  at+16(BX)(R*1), X1, X3; \
	VMOVUPS X3, at+16(BX)(R*1)

// func fillAVX2(c *splitCut, items *item, n int)
TEXT ·fillAVX2(SB), NOSPLIT, $0-24
	MOVQ     c+0(FP), BX
	MOVQ     items+8(FP), SI
	MOVQ     n+16(FP), CX
	VMOVUPS  (BX), X4         // where the bins begin
	VMOVUPS  32(BX), X5       // bins a length
	VXORPS   X6, X6, X6
	VPCMPEQD X7, X7, X7
	VPSRLD   $28, X7, X7      // the last bin
	TESTQ    CX, CX
	JEQ      filled

item:
	ITEM
	VSUBPS     X4, X2, X2
	VMULPS     X5, X2, X2
	VCVTTPS2DQ X2, X2
	VPAND      X7, X2, X2
	VMOVD      X2, AX
	VPEXTRD    $1, X2, DX
	VPEXTRD    $2, X2, DI
	INCL       1584(BX)(AX*4)
	INCL       1648(BX)(DX*4)
	INCL       1712(BX)(DI*4)
	SHLQ       $5, AX
	SHLQ       $5, DX
	SHLQ       $5, DI
	BIN(48, AX)
	BIN(560, DX)
	BIN(1072, DI)
	ADDQ       $28, SI
	DECQ       CX
	JNE        item

filled:
	RET

// func extentAVX2(items *item, n int, mids *laneBox)
TEXT ·extentAVX2(SB), NOSPLIT, $0-24
	MOVQ     items+0(FP), SI
	MOVQ     n+8(FP), CX
	MOVQ     mids+16(FP), BX
	VMOVUPS  nearConsts<>+64(SB), X4
	VMOVUPS  nearConsts<>+96(SB), X5
	VXORPS   X6, X6, X6
	TESTQ    CX, CX
	JEQ      extended

middle:
	ITEM
	VMINPS X4, X2, X4
	VMAXPS X5, X2, X5
	ADDQ   $28, SI
	DECQ   CX
	JNE    middle

extended:
	VMOVUPS X4, (BX)
	VMOVUPS X5, 16(BX)
	RET

// WIDEN joins the bin at the offset in AX to the box in X4 and X5, and sets X0 to
// half its surface.
#define WIDEN \
	VMINPS    (BX)(AX*1), X4, X4; \
	VMAXPS    16(BX)(AX*1), X5, X5; \
	VSUBPS    X4, X5, X0; \
	VPERMILPS $0xc9, X0, X1; \
	VMULPS    X1, X0, X0; \
	VMOVSHDUP X0, X1; \
	VADDSS    X1, X0, X1; \
	VMOVHLPS  X0, X0, X0; \
	VADDSS    X0, X1, X0

// func sweepAVX2(a *binAreas, bins *[splitBins]laneBox)
TEXT ·sweepAVX2(SB), NOSPLIT, $0-16
	MOVQ    a+0(FP), DI
	MOVQ    bins+8(FP), BX
	VMOVUPS nearConsts<>+64(SB), X4
	VMOVUPS nearConsts<>+96(SB), X5
	MOVL    $480, AX

right:
	WIDEN
	MOVQ   AX, CX
	SHRQ   $3, CX
	VMOVSS X0, 64(DI)(CX*1)
	SUBQ   $32, AX
	JNE    right

	VMOVUPS nearConsts<>+64(SB), X4
	VMOVUPS nearConsts<>+96(SB), X5
	XORL    AX, AX

left:
	WIDEN
	ADDQ   $32, AX
	MOVQ   AX, CX
	SHRQ   $3, CX
	VMOVSS X0, (DI)(CX*1)
	CMPQ   AX, $480
	JNE    left
	RET

// What steepestAVX2 compares with and picks: the number of no step, and the greatest
// loss that is none.
DATA steepConsts<>+0(SB)/4, $100
DATA steepConsts<>+4(SB)/4, $0x80800000
GLOBL steepConsts<>(SB), RODATA|NOPTR, $8

// STEEP looks at 13 steps from the cells at SI, of which R8 is the first, Y4 its
// number and Y0 their clearance: Y1 is the most that is gained, Y2 the step.
#define STEEP(loop) \
	MOVQ         $13, R10; \
loop: \
	MOVQ         24(R8), R9; \
	VMOVUPS      (SI)(R9*4), Y5; \
	VSUBPS       Y0, Y5, Y5; \
	VBROADCASTSS 32(R8), Y6; \
	VDIVPS       Y6, Y5, Y5; \
	VCMPPS       $0x1e, Y1, Y5, Y6; \
	VBLENDVPS    Y6, Y5, Y1, Y1; \
	VBLENDVPS    Y6, Y4, Y2, Y2; \
	VPSUBD       Y15, Y4, Y4; \
	ADDQ         $72, R8; \
	DECQ         R10; \
	JNE          loop

// func steepestAVX2(clear *float32, steps *gridStep, up *uint8, n int)
TEXT ·steepestAVX2(SB), NOSPLIT, $0-32
	MOVQ         clear+0(FP), SI
	MOVQ         steps+8(FP), BX
	MOVQ         up+16(FP), DI
	MOVQ         n+24(FP), CX
	VBROADCASTSS steepConsts<>+0(SB), Y13
	VBROADCASTSS steepConsts<>+4(SB), Y14
	VPCMPEQD     Y15, Y15, Y15

eight:
	VMOVUPS  (SI), Y0
	VXORPS   Y1, Y1, Y1
	VCMPPS   $0x1e, Y1, Y0, Y5
	VMOVMSKPS Y5, AX
	TESTL    AX, AX
	JEQ      solid
	VMOVAPS  Y13, Y2
	VXORPS   Y4, Y4, Y4
	MOVQ     BX, R8
	STEEP(down)

	// Where no step gains, one upwards along which nothing is lost will do.
	VPCMPEQD  Y13, Y2, Y5
	VBLENDVPS Y5, Y14, Y1, Y1
	STEEP(up)
	VEXTRACTI128 $1, Y2, X3
	VPACKSSDW    X3, X2, X2
	VPACKUSWB    X2, X2, X2
	VMOVQ        X2, (DI)

solid:
	CMPQ CX, $8
	JEQ  steepened
	MOVQ $8, AX
	SUBQ AX, CX
	CMPQ CX, AX
	JGE  next
	LEAQ -8(CX)(AX*1), AX // the last eight again
	MOVQ $8, CX

next:
	LEAQ (SI)(AX*4), SI
	ADDQ AX, DI
	JMP  eight

steepened:
	VZEROUPPER
	RET

// SAME sets R to a bit for each of the four cells at the offset from SI that are of
// the basin in X0 or in material.
#define SAME(at, R) \
	VMOVDQU   at, X1; \
	VPCMPEQD  X0, X1, X2; \
	VPOR      X1, X2, X2; \
	VMOVMSKPS X2, R

// func apartAVX2(of *int32, across, up int) uint32
TEXT ·apartAVX2(SB), NOSPLIT, $0-28
	MOVQ of+0(FP), SI
	MOVQ across+8(FP), R8
	MOVQ up+16(FP), R9
	VPBROADCASTD (SI), X0

	// Rows below the cell and beside it begin with the cell before; the fourth is
	// one too many.
	LEAQ (SI)(R8*4), R10
	SAME(-4(SI), AX)
	SAME(-4(R10), BX)
	NEGQ R8
	LEAQ (SI)(R8*4), DI
	SAME(-4(DI), CX)
	ANDL $7, AX
	ANDL $7, BX
	ANDL $7, CX
	SHLL $12, AX
	SHLL $15, BX
	SHLL $9, CX
	ORL  AX, BX
	ORL  CX, BX
	NEGQ R9
	SAME(-4(SI)(R9*4), AX)
	SAME(-4(R10)(R9*4), CX)
	SAME(-4(DI)(R9*4), DX)
	ANDL $7, AX
	ANDL $7, CX
	ANDL $7, DX
	SHLL $3, AX
	SHLL $6, CX
	ORL  AX, BX
	ORL  CX, BX
	ORL  DX, BX

	// Those above begin with one too many.
	NEGQ R9
	SAME(-8(SI)(R9*4), AX)
	SAME(-8(R10)(R9*4), CX)
	SAME(-8(DI)(R9*4), DX)
	ANDL $14, AX
	ANDL $14, CX
	ANDL $14, DX
	SHLL $20, AX
	SHLL $23, CX
	SHLL $17, DX
	ORL  AX, BX
	ORL  CX, BX
	ORL  DX, BX

	// No step leads to the cell itself.
	NOTL BX
	MOVL BX, AX
	ANDL $0x1fff, AX
	SHRL $1, BX
	ANDL $0x3ffe000, BX
	ORL  BX, AX
	MOVL AX, ret+24(FP)
	RET

// func takeAVX2(to, from *float32, apart, n int, stay *[8]int32)
TEXT ·takeAVX2(SB), NOSPLIT, $0-40
	MOVQ    to+0(FP), DI
	MOVQ    from+8(FP), SI
	MOVQ    apart+16(FP), R8
	MOVQ    n+24(FP), CX
	MOVQ    stay+32(FP), AX
	VMOVUPS nearConsts<>+64(SB), Y1
	VMOVAPS Y1, Y2
	TESTQ   CX, CX
	JEQ     taken

take:
	VMOVUPS   (SI), Y0
	VBLENDVPS Y0, Y1, Y0, Y0 // nothing comes from what is passed over
	VMOVUPS   Y0, (DI)
	VMINPS    Y0, Y2, Y2
	LEAQ      (SI)(R8*4), SI
	ADDQ      $32, DI
	DECQ      CX
	JNE       take

taken:
	VPCMPEQD Y1, Y2, Y2
	VPOR     (AX), Y2, Y2
	VMOVDQU  Y2, (AX)
	VZEROUPPER
	RET

// func leastAVX2(d, near *float32, stay *[8]int32, squares *float32, apart, beside, n, reach int) (done int)
TEXT ·leastAVX2(SB), NOSPLIT, $0-72
	MOVQ    d+0(FP), DI
	MOVQ    near+8(FP), SI
	MOVQ    stay+16(FP), AX
	VMOVUPS (AX), Y7
	MOVQ    squares+24(FP), R10
	MOVQ    apart+32(FP), R9
	MOVQ    beside+40(FP), R8
	MOVQ    n+48(FP), CX
	MOVQ    reach+56(FP), R11
	SHLQ    $2, R8
	TESTQ   CX, CX
	JEQ     leastDone

cells:
	VMOVUPS (DI), Y0
	VORPS   Y7, Y0, Y2 // negative where cells stay as they are
	VMOVUPS (SI), Y1
	LEAQ    (SI)(R8*1), AX
	MOVQ    SI, BX
	SUBQ    R8, BX
	MOVQ    $1, DX

around:
	VBROADCASTSS (R10)(DX*4), Y5
	VCMPPS       $0x1e, Y5, Y1, Y3
	VANDNPS      Y3, Y2, Y3
	VMOVMSKPS    Y3, R12
	TESTL        R12, R12
	JEQ          least
	CMPQ         DX, R11
	JGT          leastDone
	VBROADCASTSS 4(R10)(DX*4), Y6
	VADDPS       (AX), Y5, Y3
	VADDPS       (BX), Y5, Y4
	VMINPS       Y3, Y1, Y1
	VADDPS       (AX)(R8*1), Y6, Y3
	SUBQ         R8, BX
	VMINPS       Y4, Y1, Y1
	VADDPS       (BX), Y6, Y4
	VMINPS       Y3, Y1, Y1
	VMINPS       Y4, Y1, Y1
	LEAQ         (AX)(R8*2), AX
	SUBQ         R8, BX
	ADDQ         $2, DX
	JMP          around

least:
	VBLENDVPS Y2, Y0, Y1, Y1
	VMOVUPS   Y1, (DI)
	LEAQ      (DI)(R9*4), DI
	ADDQ      $32, SI
	DECQ      CX
	JNE       cells

leastDone:
	MOVQ n+48(FP), AX
	SUBQ CX, AX
	MOVQ AX, done+64(FP)
	VZEROUPPER
	RET
