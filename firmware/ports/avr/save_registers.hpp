// SPDX-License-Identifier: MIT
// For handlers whose first instructions are assembler: what a called function may change. r24 is saved by the handler
// itself, before. The compiler's own prologue would save the registers of every inlined path.
#pragma once

#define YOKEDOCK_SAVE_FOR_CALL                                                                         \
    "in   r24, __SREG__ \n\tpush r24 \n\tpush r0  \n\tpush r1  \n\tclr  r1  \n\t"                         \
    "push r18 \n\tpush r19 \n\tpush r20 \n\tpush r21 \n\tpush r22 \n\tpush r23 \n\t"                     \
    "push r25 \n\tpush r26 \n\tpush r27 \n\tpush r30 \n\tpush r31 \n\t"

#define YOKEDOCK_RESTORE_AFTER_CALL                                                                    \
    "pop  r31 \n\tpop  r30 \n\tpop  r27 \n\tpop  r26 \n\tpop  r25 \n\t"                                  \
    "pop  r23 \n\tpop  r22 \n\tpop  r21 \n\tpop  r20 \n\tpop  r19 \n\tpop  r18 \n\t"                     \
    "pop  r1  \n\tpop  r0  \n\tpop  r24 \n\tout  __SREG__, r24 \n\t"
