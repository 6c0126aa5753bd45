// SPDX-License-Identifier: MIT
// The one table of caution text.
#pragma once
#include <string>

namespace yokedock::cli {

/// X(text). Shown before anything is sent to a board, and in the help of the commands that send.
#define YOKEDOCK_CAUTIONS(X)                                                                       \
    X("A board with its own line-output transformer makes lethal voltage with no tube attached: "  \
      "insulate "                                                                                  \
      "the anode lead, and discharge the tube if there is one.")                                   \
    X("Many boards are live to the mains: use an isolation transformer, one hand, and no bench "   \
      "ground until "                                                                              \
      "isolation is proven.")                                                                      \
    X("Reservoirs and retrace capacitors hold charge after power is off.")                         \
    X("Holding the line rate far below nominal overstresses the line output stage.")               \
    X("yokedock certifies neither shock nor X-ray safety; local codes and licensed practice "      \
      "rule.")

/// Added where the bench does not switch the supply.
#define YOKEDOCK_OUTSIDE_CAUTION                                                                   \
    "The board is powered from outside: the bench watches nothing and switches nothing off. A "    \
    "short, a rail that is too high or a part fitted backwards is not stopped. Have a switch in "  \
    "reach."

/// Wrapped like the others, ends with a newline.
[[nodiscard]] std::string outside_caution();

/// All of it under one heading, wrapped, ends with a newline.
[[nodiscard]] std::string caution_text();

} // namespace yokedock::cli
